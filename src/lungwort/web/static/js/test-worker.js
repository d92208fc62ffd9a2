/* The service worker of /tests/: keeps the page of a test under way with its scripts and styles, so
   that it can be loaded again without a connection; and sends what is kept when the browser says so.

   VERSION is put before this text by the computer; it changes with any of the files below. A page
   is always asked of the computer first. A new worker takes over at once: pages and files carry a
   mark of their contents in their addresses, so that none gets a file of another version. */

"use strict";

importScripts("/static/js/outlet-test-store.js", "/static/js/outlet-test-sync.js");

const FILES = `lungwort-tests-files-${VERSION}`;
const PAGES = "lungwort-tests-pages";
const OWNER = "/tests/owner";
const PATIENCE_MS = 4000;
const UNDER_WAY = /^\/tests\/under-way\/open-[a-z2-7]{8}$/;

self.addEventListener("install", (event) => {
  event.waitUntil(self.skipWaiting());
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      for (const name of await caches.keys()) {
        if (name.startsWith("lungwort-tests-files-") && name !== FILES) await caches.delete(name);
      }
      await self.clients.claim();
    })(),
  );
});

self.addEventListener("message", (event) => {
  const told = event.data || {};
  if (told.what === "keep") event.waitUntil(keep(told));
  if (told.what === "forget") event.waitUntil(caches.delete(PAGES));
});

// Pages are those of one person; for another one they are thrown away.
async function keep(told) {
  let pages = await caches.open(PAGES);
  const known = await pages.match(OWNER);
  if (known && (await known.text()) !== told.owner) {
    await caches.delete(PAGES);
    pages = await caches.open(PAGES);
  }
  await pages.put(OWNER, new Response(told.owner));
  const files = await caches.open(FILES);
  await Promise.all(
    told.urls.map(async (one) => {
      if (await files.match(one)) return;
      const answer = await fetch(one).catch(() => null);
      if (answer && answer.ok) await files.put(one, answer);
    }),
  );
  if (UNDER_WAY.test(told.page) && !(await pages.match(told.page))) {
    const answer = await fetch(told.page, { redirect: "manual" }).catch(() => null);
    if (answer && answer.ok) await pages.put(told.page, answer);
  }
}

self.addEventListener("fetch", (event) => {
  const asked = event.request;
  const address = new URL(asked.url);
  if (asked.method !== "GET" || address.origin !== self.location.origin) return;
  if (address.pathname.startsWith("/static/")) event.respondWith(file(asked, address));
  else if (asked.mode === "navigate" && UNDER_WAY.test(address.pathname)) event.respondWith(page(asked, address));
});

async function file(asked, address) {
  const files = await caches.open(FILES);
  const known = await files.match(asked);
  // An address with a mark of the contents never changes what it gives.
  if (known && address.searchParams.has("v")) return known;
  try {
    const answer = await patient(fetch(asked), known);
    if (answer.ok) await files.put(asked, answer.clone());
    return answer;
  } catch (error) {
    if (known) return known;
    throw error;
  }
}

async function page(asked, address) {
  const pages = await caches.open(PAGES);
  const known = await pages.match(address.pathname);
  try {
    const answer = await patient(fetch(asked), known);
    if (answer.status >= 500 && known) return known;
    if (answer.ok && !answer.redirected) await pages.put(address.pathname, answer.clone());
    // Sent elsewhere or not let in: whoever is here now is not whoever was.
    else if (answer.type === "opaqueredirect" || [401, 403].includes(answer.status)) await caches.delete(PAGES);
    return answer;
  } catch (error) {
    if (known) return known;
    throw error;
  }
}

// Wait for the computer only so long where there is something to show without it.
function patient(answer, known) {
  if (!known) return answer;
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error("no answer in time")), PATIENCE_MS);
    answer.then(resolve, reject).finally(() => clearTimeout(timer));
  });
}

self.addEventListener("sync", (event) => {
  if (event.tag === "lungwort-tests") event.waitUntil(send());
});

async function send() {
  const open = await self.clients.matchAll({ type: "window" });
  const shown = open.filter((one) => UNDER_WAY.test(new URL(one.url).pathname));
  for (const one of shown) one.postMessage("send");
  if (shown.length) return;
  for (const one of await self.lungwortTestStore.runs()) {
    if (!one.test) await self.lungwortTestSync.send(one.run, one.owner);
  }
}
