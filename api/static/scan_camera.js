// Reads symbols in what the camera sees and in photos, on this device; no picture leaves it.

import { prepareZXingModule, readBarcodes } from "./vendor/zxing-wasm/reader/index.js";
import { isWholeCode } from "./codes.js";

const OPTIONS = { formats: ["QRCode"], maxNumberOfSymbols: 8 };
const LOOK_MS = 80; // between two looks: the page stays usable on a slow phone
const LIVE_SIDE = 1280;
const PHOTO_SIDES = [1600, 800, 3200]; // a blurred photo reads better small, a far symbol large

prepareZXingModule({
  overrides: { locateFile: (name) => new URL(`./vendor/zxing-wasm/${name}`, import.meta.url).href },
});

function pixels(source, width, height, side) {
  const scale = Math.min(1, side / Math.max(width, height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(width * scale));
  canvas.height = Math.max(1, Math.round(height * scale));
  const drawing = canvas.getContext("2d", { willReadFrequently: true });
  drawing.drawImage(source, 0, 0, canvas.width, canvas.height);
  return drawing.getImageData(0, 0, canvas.width, canvas.height);
}

/** The text of a symbol: one of our codes where several symbols are seen. */
async function read(image) {
  const texts = (await readBarcodes(image, OPTIONS)).filter((one) => one.isValid).map((one) => one.text);
  return texts.find(isWholeCode) ?? texts[0] ?? null;
}

/**
 * Read a photo.
 *
 * @param {File} photo from the camera or a folder
 * @param {(what: string) => void} tell shows one of the box's sentences
 * @param {(text: string) => void} found told of the symbol's text
 */
export async function readPhoto(photo, tell, found) {
  tell("Reading");
  let picture;
  try {
    picture = await createImageBitmap(photo);
  } catch {
    tell("NoPicture");
    return;
  }
  try {
    for (const side of PHOTO_SIDES) {
      const text = await read(pixels(picture, picture.width, picture.height, side));
      if (text !== null) {
        tell("");
        found(text);
        return;
      }
      if (side >= Math.max(picture.width, picture.height) && side !== PHOTO_SIDES[0]) break;
    }
    tell("NoSymbol");
  } catch {
    tell("NoReader");
  } finally {
    picture.close();
  }
}

/** Stops the camera that runs, if one does. */
let stop = () => {};

/**
 * Start the camera, or stop it where it runs.
 *
 * @param {HTMLButtonElement} button pressed while the camera runs
 * @param {HTMLVideoElement} video shows what it sees
 * @param {(what: string) => void} tell shows one of the box's sentences
 * @param {(text: string) => void} found told of the first symbol's text; the camera stops then
 */
export async function switchCamera(button, video, tell, found) {
  const running = button.getAttribute("aria-pressed") === "true";
  stop();
  if (running) return;
  button.setAttribute("aria-pressed", "true");
  tell("Starting");
  let stopped = false;
  let stream = null;
  stop = () => {
    stopped = true;
    stream?.getTracks().forEach((track) => track.stop());
    video.srcObject = null;
    video.hidden = true;
    button.setAttribute("aria-pressed", "false");
    tell("");
    stop = () => {};
  };
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      video: { facingMode: "environment", width: { ideal: 1280 }, height: { ideal: 720 } },
    });
    if (stopped) return stream.getTracks().forEach((track) => track.stop());
    video.srcObject = stream;
    video.hidden = false;
    await video.play();
  } catch {
    if (stopped) return;
    stop();
    tell("NoCamera");
    return;
  }
  tell("Looking");
  try {
    const text = await look(video, () => stopped);
    if (text === null) return;
    stop();
    found(text);
  } catch {
    stop();
    tell("NoReader");
  }
}

async function look(video, isStopped) {
  while (!isStopped()) {
    if (video.videoWidth) {
      const text = await read(pixels(video, video.videoWidth, video.videoHeight, LIVE_SIDE));
      if (text !== null && !isStopped()) return text;
    }
    await new Promise((resolve) => setTimeout(resolve, LOOK_MS));
  }
  return null;
}

// A hidden page must not go on seeing.
document.addEventListener("visibilitychange", () => document.hidden && stop());
