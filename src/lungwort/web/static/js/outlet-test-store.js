// What is entered at an outlet, kept on the device before anything else is done with it.
//
// A plain script, not a module: the page and its service worker share it.

(() => {
  "use strict";

  const NAME = "lungwort-tests";
  const VERSION = 1;

  let opened = null;

  function database() {
    if (opened) return opened;
    opened = new Promise((resolve, reject) => {
      const asked = indexedDB.open(NAME, VERSION);
      asked.onupgradeneeded = () => {
        const made = asked.result;
        made.createObjectStore("done", { keyPath: "id" }).createIndex("run", "run");
        made.createObjectStore("photos", { keyPath: "id" }).createIndex("run", "run");
        made.createObjectStore("runs", { keyPath: "run" });
        made.createObjectStore("counters", { keyPath: "name" });
      };
      asked.onsuccess = () => {
        const found = asked.result;
        // Another tab with a newer page must not wait for this one.
        found.onversionchange = () => {
          found.close();
          opened = null;
        };
        found.onclose = () => {
          opened = null;
        };
        resolve(found);
      };
      asked.onerror = () => {
        opened = null;
        reject(asked.error);
      };
      asked.onblocked = () => reject(new Error("blocked by another page"));
    });
    return opened;
  }

  // Work within one transaction; it is on the disk when the promise is kept.
  async function within(stores, mode, work) {
    const found = await database();
    return new Promise((resolve, reject) => {
      const change = found.transaction(stores, mode, { durability: "strict" });
      let result;
      change.oncomplete = () => resolve(result);
      change.onerror = () => reject(change.error);
      change.onabort = () => reject(change.error || new Error("the device could not keep it"));
      work(change, (value) => {
        result = value;
      });
    });
  }

  function steadyOf() {
    // Two readings of performance.now() can be compared only within one page.
    return String(performance.timeOrigin);
  }

  function newId() {
    const random = crypto.getRandomValues(new Uint8Array(12));
    return `${Date.now().toString(36)}-${[...random].map((one) => one.toString(16).padStart(2, "0")).join("")}`;
  }

  // Keep one thing that was done; its time and its place among all others are taken here.
  function keep(run, what) {
    return within(["done", "counters"], "readwrite", (change, give) => {
      const counters = change.objectStore("counters");
      const asked = counters.get("place");
      asked.onsuccess = () => {
        const place = (asked.result ? asked.result.value : 0) + 1;
        counters.put({ name: "place", value: place });
        const one = {
          id: newId(),
          run,
          place,
          time: new Date().toISOString(),
          steady_s: performance.now() / 1000,
          steady_of: steadyOf(),
          state: "waiting",
          why: "",
          told: [],
          reason: "",
          name: "",
          given: "",
          ...what,
        };
        change.objectStore("done").put(one);
        give(one);
      };
    });
  }

  function all(store, run) {
    return within([store], "readonly", (change, give) => {
      const asked = change.objectStore(store).index("run").getAll(run);
      asked.onsuccess = () => give(asked.result);
    }).then((found) => (store === "done" ? found.sort((a, b) => a.place - b.place) : found));
  }

  function keepPhoto(run, step, file) {
    return within(["photos"], "readwrite", (change, give) => {
      const one = {
        id: newId(),
        run,
        step,
        name: file.name || "photo",
        blob: file,
        time: new Date().toISOString(),
        state: "waiting",
        why: "",
      };
      change.objectStore("photos").put(one);
      give(one);
    });
  }

  function changed(store, id, what) {
    return within([store], "readwrite", (change) => {
      const held = change.objectStore(store);
      const asked = held.get(id);
      asked.onsuccess = () => {
        if (asked.result) held.put({ ...asked.result, ...what });
      };
    });
  }

  function removePhoto(id) {
    return within(["photos"], "readwrite", (change) => {
      change.objectStore("photos").delete(id);
    });
  }

  function runOf(run) {
    return within(["runs"], "readonly", (change, give) => {
      const asked = change.objectStore("runs").get(run);
      asked.onsuccess = () => give(asked.result || null);
    });
  }

  function runs() {
    return within(["runs"], "readonly", (change, give) => {
      const asked = change.objectStore("runs").getAll();
      asked.onsuccess = () => give(asked.result);
    });
  }

  function keepRun(run, what) {
    return within(["runs"], "readwrite", (change) => {
      const held = change.objectStore("runs");
      const asked = held.get(run);
      asked.onsuccess = () => held.put({ ...(asked.result || {}), ...what, run });
    });
  }

  // All that one answer of the computer says, or nothing of it.
  function takeAnswer(run, sent, answer) {
    return within(["done", "runs"], "readwrite", (change) => {
      const done = change.objectStore("done");
      for (const one of answer.answers) {
        const asked = done.get(one.id);
        asked.onsuccess = () => {
          const held = asked.result;
          // What was dropped or confirmed meanwhile stays so.
          if (!held || !["waiting", "kept"].includes(held.state)) return;
          done.put({ ...held, state: one.state, why: one.why, told: one.told });
        };
      }
      const held = change.objectStore("runs");
      const asked = held.get(run);
      asked.onsuccess = () => {
        const before = asked.result || { run };
        const newer = answer.stand && (!before.stand || answer.stand.now >= before.stand.now);
        held.put({
          ...before,
          run,
          offset_s: answer.offset_s,
          contact: sent,
          csrf: answer.csrf,
          doubts: answer.doubts.length ? answer.doubts : before.doubts || [],
          stand: newer ? answer.stand : before.stand,
          test: answer.test || before.test || null,
        });
      };
    });
  }

  // A test on record whose every entry is in it needs nothing here any more.
  function forget(run) {
    return within(["done", "photos", "runs"], "readwrite", (change) => {
      for (const store of ["done", "photos"]) {
        const held = change.objectStore(store);
        const asked = held.index("run").getAllKeys(run);
        asked.onsuccess = () => asked.result.forEach((key) => held.delete(key));
      }
      change.objectStore("runs").delete(run);
    });
  }

  self.lungwortTestStore = {
    all,
    changed,
    forget,
    keep,
    keepPhoto,
    keepRun,
    removePhoto,
    runOf,
    runs,
    takeAnswer,
  };
})();
