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

/** The answer of the service; where it is slow or gone, what is kept; where nothing is, its answer all the same. */
async function answerOr(request, kept, use) {
  const going = fetch(request).then(async (answer) => {
    await use(answer.clone()).catch(() => null); // a full disk must not keep the page away
    return answer;
  });
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS));
  const first = await Promise.race([going, late]).catch(() => undefined);
  return first ?? (await kept()) ?? going; // whatever it comes to
}

/** The page itself, else as last seen, else the machine's page under its address. */
async function page(request, url) {
  const cache = await caches.open(SEEN);
  const [, , machine, kind] = url.pathname.split("/");
  const keep = async (answer) => {
    const whole = answer.status === 200 && answer.type === "basic" && !answer.redirected;
    if (whole && (kind === undefined || kind === "stations")) await cache.put(request, answer);
  };
  // a verdict is weighed anew, from what was last known; an old yes is none
  const kept = async () => {
    const shell = machine === undefined ? null : await cache.match(`/machines/${machine}`, ANY);
    return (await cache.match(request, ANY)) ?? shell ?? (await cache.match("/machines", ANY)) ?? undefined;
  };
  return answerOr(request, kept, keep);
}

const file = (request) =>
  answerOr(
    request,
    () => caches.match(request, { ...ANY, ignoreSearch: true }),
    async (answer) => {
      if (answer.ok) await (await caches.open(KEPT)).put(request, answer);
    },
  );

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate" && isMachinePage(url)) event.respondWith(page(request, url));
  else if (url.pathname.startsWith("/static/")) event.respondWith(file(request));
});
