// Serves the machine pages as they were last seen, where the service does not answer.
// GIVEN (the version and the files that the pages load) is written in front by the service.

const KEPT = `crib-${GIVEN.version}`;
const SEEN = "crib-seen";
const PATIENCE_MS = 5000;
const ANY = { ignoreVary: true }; // seen in another language is better than not seen

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches.open(KEPT).then((cache) => cache.addAll(GIVEN.files.map((file) => new Request(file, { cache: "reload" })))),
  );
  self.skipWaiting();
});

self.addEventListener("activate", (event) => {
  const old = (names) => names.filter((name) => name.startsWith("crib-") && ![KEPT, SEEN].includes(name));
  event.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(old(names).map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  );
});

const isMachinePage = (url) => url.pathname === "/machines" || url.pathname.startsWith("/machines/");

/** The page itself, else as last seen, else the machine's page under its address. */
async function page(request, url) {
  const cache = await caches.open(SEEN);
  const [, , machine, kind] = url.pathname.split("/");
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE_MS) });
    const whole = answer.status === 200 && answer.type === "basic" && !answer.redirected;
    if (whole && (kind === undefined || kind === "stations")) await cache.put(request, answer.clone());
    return answer;
  } catch (problem) {
    // a verdict is weighed anew, from what was last known; an old yes is none
    const shell = machine === undefined ? null : await cache.match(`/machines/${machine}`, ANY);
    const found = (await cache.match(request, ANY)) ?? shell ?? (await cache.match("/machines", ANY));
    if (found) return found;
    throw problem;
  }
}

async function file(request) {
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.ok) (await caches.open(KEPT)).put(request, answer.clone());
    return answer;
  } catch (problem) {
    const found = await caches.match(request, { ...ANY, ignoreSearch: true });
    if (found) return found;
    throw problem;
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate" && isMachinePage(url)) event.respondWith(page(request, url));
  else if (url.pathname.startsWith("/static/")) event.respondWith(file(request));
});
