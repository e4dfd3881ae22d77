// What a machine page does through a dead spot; see the modules beside it.

import { look } from "./offline_clock.js";
import { checkAddress, takeScans } from "./offline_check.js";
import { keepDrafts } from "./offline_drafts.js";
import { takeForms } from "./offline_forms.js";
import { pump, pumpWhenDue } from "./offline_queue.js";
import { keepKnown, open } from "./offline_store.js";
import { showStrip } from "./offline_strip.js";
import { place } from "./offline_words.js";

const LOOK_MS = 4000;
const KNOWN_MS = 45000;
let isConnected = true;
let knownAt = 0;

async function readKnown() {
  const { machine } = place.dataset;
  if (!machine) return;
  const answer = await fetch(`/machines/${encodeURIComponent(machine)}/known.json`);
  if (!answer.ok) return;
  await keepKnown(await answer.json());
  knownAt = Date.now();
}

function connected(now) {
  isConnected = now;
  document.documentElement.dataset.connected = now ? "yes" : "no";
  showStrip(now);
}

async function turn() {
  if (document.hidden) return;
  const now = await look();
  const isBack = now && !isConnected;
  connected(now);
  if (!now) return;
  // what waited out a dead spot goes at once: the pause is for a service that does not answer
  await (isBack ? pump() : pumpWhenDue());
  try {
    if (Math.abs(Date.now() - knownAt) > KNOWN_MS) await readKnown();
  } catch {
    connected(false); // the network went between the two
  }
  showStrip(isConnected);
}

async function start() {
  keepDrafts();
  try {
    await open();
  } catch {
    return; // this browser keeps nothing: the plain forms do it all
  }
  navigator.storage?.persist?.();
  if (window.isSecureContext) navigator.serviceWorker?.register("/sw.js");
  takeForms();
  takeScans(connected);
  document.addEventListener("crib:queue", () => showStrip(isConnected));
  for (const event of ["online", "offline", "focus", "pageshow"]) window.addEventListener(event, turn);
  document.addEventListener("visibilitychange", turn);
  setInterval(turn, LOOK_MS);
  await turn();
  if (!isConnected) await checkAddress();
}

start();
