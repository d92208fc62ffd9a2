// From the device to the computer: what is kept is sent until it is answered.
//
// A plain script, not a module: the page and its service worker share it. Sending the same thing
// twice does no harm, so that whoever can send it does.

(() => {
  "use strict";

  const store = self.lungwortTestStore;
  const PATIENCE_MS = 12_000;
  const PHOTO_PATIENCE_MS = 120_000;
  const AT_ONCE = 200;

  class SignedOut extends Error {}
  class Refused extends Error {
    constructor(status, detail) {
      super(detail);
      this.status = status;
    }
  }

  async function ask(address, options, patience) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), patience);
    try {
      const answer = await fetch(address, {
        credentials: "same-origin",
        redirect: "manual",
        cache: "no-store",
        signal: stop.signal,
        ...options,
        headers: { Accept: "application/json", ...(options.headers || {}) },
      });
      if (answer.type === "opaqueredirect" || answer.status === 401) throw new SignedOut();
      let content = null;
      if ((answer.headers.get("content-type") || "").includes("json")) content = await answer.json();
      if (!answer.ok) {
        throw new Refused(answer.status, (content && content.detail) || `HTTP ${answer.status}`);
      }
      if (content === null) throw new Error("no answer of the computer");
      return content;
    } finally {
      clearTimeout(timer);
    }
  }

  // After the server was started anew, or the session is another one, the old token is worth
  // nothing: a new one is asked for, once.
  async function withToken(run, send) {
    const known = await store.runOf(run);
    try {
      if (!known || !known.csrf) throw new Refused(403, "");
      return await send(known.csrf);
    } catch (error) {
      if (!(error instanceof Refused) || error.status !== 403) throw error;
      const document = await ask(`/tests/under-way/${run}/stand`, {}, PATIENCE_MS);
      await store.keepRun(run, { csrf: document.csrf });
      return send(document.csrf);
    }
  }

  async function sendPhotos(run) {
    for (const one of await store.all("photos", run)) {
      if (one.state !== "waiting") continue;
      try {
        const kept = await withToken(run, (csrf) => {
          const form = new FormData();
          form.append("csrf", csrf);
          form.append("step", one.step);
          form.append("time", one.time);
          form.append("sent", new Date().toISOString());
          form.append("photo", one.blob, one.name);
          const options = { method: "POST", body: form, headers: { "X-CSRF-Token": csrf } };
          return ask(`/tests/under-way/${run}/photos`, options, PHOTO_PATIENCE_MS);
        });
        await store.changed("photos", one.id, { state: "taken", sha256: kept.sha256, blob: null });
      } catch (error) {
        const final = error instanceof Refused && [404, 413, 422].includes(error.status);
        if (!final) throw error;
        await store.changed("photos", one.id, { state: "refused", why: error.message });
      }
    }
  }

  function ends(one) {
    return one.doing === "finish" || one.doing === "abort";
  }

  async function sendEntries(run, owner) {
    for (;;) {
      const kept = await store.all("done", run);
      const photos = await store.all("photos", run);
      const waiting = kept.filter((one) => one.state === "waiting");
      const unsent = photos.some((one) => one.state === "waiting");
      const now = waiting.filter(
        (one) => !ends(one) || (!unsent && (!owner || !one.owner || one.owner === owner)),
      );
      const batch = now.slice(0, AT_ONCE);
      const known = await store.runOf(run);
      let sent = "";
      const answer = await withToken(run, (csrf) => {
        // Read at the last moment: the computer holds it against its own clock.
        sent = new Date().toISOString();
        return ask(
          `/tests/under-way/${run}/entries`,
          {
            method: "POST",
            headers: { "Content-Type": "application/json", "X-CSRF-Token": csrf },
            body: JSON.stringify({
              sent,
              offset_s: known && Number.isFinite(known.offset_s) ? known.offset_s : null,
              entries: batch.map((one) => ({
                id: one.id,
                place: one.place,
                doing: one.doing,
                time: one.time,
                steady_s: one.steady_s,
                steady_of: one.steady_of,
                name: one.name,
                given: one.given,
                reason: one.reason,
                instead_of: one.instead_of === undefined ? null : one.instead_of,
                first: one.first || null,
              })),
            }),
          },
          PATIENCE_MS,
        );
      });
      await store.takeAnswer(run, sent, answer);
      if (now.length <= AT_ONCE) return answer;
    }
  }

  // Send all that is kept for a test. One at a time on a device where that can be arranged.
  async function send(run, owner) {
    const work = async () => {
      await sendPhotos(run);
      return sendEntries(run, owner);
    };
    if (self.navigator && navigator.locks) {
      return navigator.locks.request(`lungwort-test-${run}`, work);
    }
    return work();
  }

  self.lungwortTestSync = { send, SignedOut, Refused };
})();
