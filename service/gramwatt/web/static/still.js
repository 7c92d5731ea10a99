// The picture of one instant on a frame: what a caption looks like on the video.
import { form, onResults, path } from "./form.js";
import { saveFile } from "./save-file.js";

const figure = document.getElementById("still");
const PAUSE = 400; // milliseconds after the results, before the picture is fetched
const SKY = ["#8fb4d6", "#dfe8ee"];
const GROUND = ["#6d7a4c", "#2f3a26"];
/** The frame that was chosen, or none. @type {ImageBitmap | null} */
let frame = null;
let timer = 0;
let lastRequest = 0;

/** Draw a scene with a light and a dark part, to see a caption on both. */
const drawScene = (/** @type {CanvasRenderingContext2D} */ pen, /** @type {number} */ width, /** @type {number} */ height) => {
  const horizon = height * 0.62;
  for (const [top, bottom, colors] of [[0, horizon, SKY], [horizon, height, GROUND]]) {
    const gradient = pen.createLinearGradient(0, top, 0, bottom);
    gradient.addColorStop(0, colors[0]);
    gradient.addColorStop(1, colors[1]);
    pen.fillStyle = gradient;
    pen.fillRect(0, top, width, bottom - top);
  }
};

/** Draw a frame so that it fills the picture, cut at two edges where its shape is another. */
const drawFrame = (/** @type {CanvasRenderingContext2D} */ pen, /** @type {ImageBitmap} */ image, /** @type {number} */ width, /** @type {number} */ height) => {
  const scale = Math.max(width / image.width, height / image.height);
  const [wide, high] = [image.width * scale, image.height * scale];
  pen.drawImage(image, (width - wide) / 2, (height - high) / 2, wide, high);
};

const show = async () => {
  const number = ++lastRequest;
  const body = new FormData(form);
  body.append("download", figure.dataset.still);
  let text;
  try {
    const response = await fetch(`${path}/download`, { method: "POST", body });
    if (!response.ok) throw new Error(response.statusText);
    text = await response.text();
  } catch {
    if (number === lastRequest) figure.hidden = true; // the page itself shows what is wrong
    return;
  }
  const picture = new Image();
  picture.src = `data:image/svg+xml,${encodeURIComponent(text)}`;
  await picture.decode().catch(() => {});
  if (number !== lastRequest || !picture.naturalWidth) return;
  const canvas = figure.querySelector("canvas");
  [canvas.width, canvas.height] = [picture.naturalWidth, picture.naturalHeight];
  const pen = canvas.getContext("2d");
  if (frame) drawFrame(pen, frame, canvas.width, canvas.height); else drawScene(pen, canvas.width, canvas.height);
  pen.drawImage(picture, 0, 0);
  const lines = [...new DOMParser().parseFromString(text, "image/svg+xml").querySelectorAll("text")].map(({ textContent }) => textContent.trim());
  canvas.setAttribute("aria-label", `Caption on a frame: ${lines.join(", ") || "no text"}`);
  figure.hidden = false;
};

const showLater = () => {
  clearTimeout(timer);
  timer = setTimeout(show, PAUSE);
};

const save = () => figure.querySelector("canvas").toBlob((blob) => saveFile(blob, "frame.png"), "image/png");

if (figure) {
  figure.querySelector("input").addEventListener("change", async ({ target }) => {
    frame = target.files[0] ? await createImageBitmap(target.files[0]).catch(() => null) : null;
    show();
  });
  figure.querySelector("button").addEventListener("click", save);
  onResults(showLater);
  showLater();
}
