// Where there is no network: the newest rounds are kept on the phone, and what is ticked
// or written down meanwhile is sent later, once each and in order. A service worker (W3C
// Service Workers) does nothing else here; with a network every page comes from the daemon.
"use strict";

const shelf = "rounds"; // holds the pages that are kept, with the files that they use
const pages = ["/rounds", "/jot"];

// --- what waits ------------------------------------------------------------
// A line waits in a store of its own, under a number that gives the order: its form as it
// was sent, when by the phone's clock, and once it is through what became of it: sent, or
// the daemon's words why not.

const waiting = () => caches.open("waiting");
const put = async (line) => (await waiting()).put("/waiting/" + line.n, new Response(JSON.stringify(line)));
const drop = async (n) => (await waiting()).delete("/waiting/" + n);
const lines = async () => {
  const store = await waiting(), keys = await store.keys();
  const all = await Promise.all(keys.map(async (key) => (await store.match(key)).json()));
  return all.sort((a, b) => a.n - b.n);
};

// One at a time, also beside a worker of another version.
const alone = (work) => navigator.locks.request("waiting", work);

const wait = (form) => alone(async () => put({ n: ((await lines()).at(-1)?.n ?? 0) + 1, form, at: Date.now() }));

// --- the network -----------------------------------------------------------
// A weak one hangs: nobody stands in a cellar for half a minute, nor at each line anew.

let failedAt = -Infinity;
const failed = () => { failedAt = performance.now(); };
const inTime = (answer) => {
  const patience = performance.now() - failedAt < 30_000 ? 2_000 : 8_000;
  return Promise.race([answer, new Promise((_, late) => setTimeout(late, patience))]).catch((e) => { failed(); throw e; });
};
const away = (status) => status === 429 || status > 500; // the daemon, or a proxy before it: later

// send sends what waits, in order, and tells whether nothing waits any more. A login that
// has run out holds it up, as a network does; what the daemon does not take is put aside.
let locked = false;
const send = () => alone(async () => {
  for (const line of await lines()) {
    if (line.sent || line.refused) continue;
    const body = new URLSearchParams(line.form);
    body.set("ago", String((Date.now() - line.at) / 1000));
    const answer = await inTime(fetch("/jot", { method: "POST", headers: { Accept: "application/json" }, body })).catch(() => null);
    locked = answer?.status === 401;
    if (!answer || locked || away(answer.status)) return false;
    const said = await answer.json().catch(() => ({}));
    await put(answer.ok ? { ...line, sent: true } : { ...line, refused: said.error || "It was not taken.", again: answer.status === 409 });
  }
  return true;
});

// --- what is kept ----------------------------------------------------------

// keep fetches the pages afresh. They carry when that was, by which they are known as kept.
const keep = async () => {
  const store = await caches.open(shelf), wanted = new Set(pages);
  for (const page of pages) {
    const answer = await fetch(page);
    if (!answer.ok || answer.redirected) return;
    const text = await answer.text();
    for (const [, file] of text.matchAll(/"(\/static\/[^"]+)"/g)) wanted.add(file);
    await store.addAll([...wanted].filter((url) => !pages.includes(url)));
    const { headers } = answer;
    await store.put(page, new Response(text.replace("<body", `<body data-kept="${Date.now()}"`), {
      headers: { "Content-Type": headers.get("Content-Type"), "Content-Security-Policy": headers.get("Content-Security-Policy") },
    }));
  }
  for (const key of await store.keys()) {
    const { pathname, search } = new URL(key.url);
    if (!wanted.has(pathname + search)) await store.delete(key);
  }
  for (const line of await lines()) if (line.sent) await drop(line.n); // the rounds show it now
};

const kept = async (url) => {
  const page = url.pathname === "/jot" ? "/jot" : "/rounds";
  const copy = await caches.match(page, { cacheName: shelf });
  if (!copy) return plain(503, "There is no network, and no rounds are kept on this phone. What you wrote down waits here, and is sent later.");
  return url.pathname === page ? copy : Response.redirect(page, 303);
};

const plain = (status, text) => new Response(text, { status, headers: { "Content-Type": "text/plain; charset=utf-8" } });

// --- what pages ask --------------------------------------------------------

const tell = async () => {
  const all = await lines();
  for (const tab of await self.clients.matchAll()) tab.postMessage({ lines: all, locked });
};

const asked = {
  look: async () => { if (await send()) await keep().catch(() => {}); },
  drop: ({ n }) => alone(() => drop(n)),
  again: async ({ n }) => { // somebody else's tick of it was first, and it was done twice
    await alone(async () => {
      const line = (await lines()).find((l) => l.n === n), form = new URLSearchParams(line.form);
      form.delete("since");
      await put({ ...line, form: String(form), refused: undefined });
    });
    await send();
  },
};

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("message", (event) => {
  const { data } = event;
  if (Object.hasOwn(asked, data?.do)) event.waitUntil(asked[data.do](data).catch(() => {}).then(tell));
});

// --- what the browser asks -------------------------------------------------

const show = async (request) => {
  const answer = await inTime(fetch(request)).catch(() => null);
  return answer && answer.status !== 502 && answer.status !== 504 ? answer : kept(new URL(request.url));
};

const jot = async (request) => {
  const form = await request.clone().text();
  if (await send().catch(() => false)) {
    const answer = await inTime(fetch(request)).catch(() => null);
    if (answer && !away(answer.status)) return answer;
  }
  try {
    await wait(form);
  } catch {
    return plain(507, "There is no network, and the phone has no room to keep this: nothing was written. Go back; what you typed still stands there.");
  }
  return Response.redirect("/rounds", 303);
};

// Who logs out leaves nothing to read on a phone that others use. What waits stays, and
// goes out under the name it was written by.
const leave = async (request) => {
  await send().catch(() => {});
  await caches.delete(shelf);
  return fetch(request);
};

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "GET" && url.pathname.startsWith("/static/")) {
    event.respondWith(fetch(request).catch(async () => (await caches.match(request)) ?? Response.error()));
  } else if (request.mode !== "navigate") {
    return;
  } else if (request.method === "GET") {
    event.respondWith(show(request));
  } else if (url.pathname === "/jot") {
    event.respondWith(jot(request));
  } else if (url.pathname === "/logout") {
    event.respondWith(leave(request));
  }
});
