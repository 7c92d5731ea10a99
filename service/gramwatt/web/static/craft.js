// The strip "Your craft" on every page: what is stored on this device, and its file and address.
import { clearRecordings, recordingKeys, splitRecordings, withRecordings, writeRecording } from "./recording-store.js";
import { addressOf, clearCraft, craftInFragment, isEmpty, onCraft, readCraft, replaceCraft, summarize, tidy, whereStored } from "./craft-store.js";
import { saveFile } from "./save-file.js";

const MAX_ADDRESS = 8000; // characters; many programs cut longer ones
const strip = document.getElementById("craft");
const message = document.getElementById("craft-message");
/** What people call one row of each table. @type {{[table: string]: string}} */
export const rowLabels = JSON.parse(strip?.dataset.rows ?? "{}");

const show = () => {
  const craft = readCraft();
  document.getElementById("craft-summary").textContent = isEmpty(craft)
    ? "nothing yet"
    : `${summarize(craft, rowLabels)}, ${whereStored()}`;
  for (const button of strip.querySelectorAll("[data-craft]:not([data-craft=open])")) button.disabled = isEmpty(craft);
};

/**
 * Show a message, with buttons.
 * @param {string} text
 * @param {{[label: string]: () => void}} [actions]
 */
export const say = (text, actions = {}) => {
  const paragraph = Object.assign(document.createElement("p"), { textContent: `${text} ` });
  for (const [label, action] of Object.entries(actions)) {
    const button = Object.assign(document.createElement("button"), { type: "button", className: "secondary", textContent: label });
    button.addEventListener("click", () => { message.replaceChildren(); action(); });
    paragraph.append(button, " ");
  }
  message.replaceChildren(...(text ? [paragraph] : []));
};

/**
 * Take a craft from elsewhere: its recordings are stored apart.
 * @returns {Promise<boolean>} whether it fits; else all stays as it was
 */
const take = async (craft) => {
  const { rest, recordings } = splitRecordings(tidy(craft));
  if (!replaceCraft(rest)) {
    say("This craft is too large for the storage of this browser. Yours is as it was.");
    return false;
  }
  await clearRecordings();
  for (const [key, recording] of recordings) await writeRecording(key, recording);
  dispatchEvent(new Event("craftreplaced"));
  return true;
};

const open = async (/** @type {File} */ file) => {
  let craft;
  try {
    craft = JSON.parse(await file.text());
  } catch (error) {
    return say(`${file.name} is not a craft: ${error.message}.`);
  }
  if (!craft || typeof craft !== "object" || Array.isArray(craft)) return say(`${file.name} is not a craft: it must hold a JSON object.`);
  if (await take(craft)) say(`Opened ${file.name}: ${summarize(tidy(craft), rowLabels) || "it is empty"}.`);
  return undefined;
};

const save = async () => {
  const { whole, binary } = await withRecordings(readCraft());
  saveFile(new Blob([JSON.stringify(whole, null, 2), "\n"], { type: "application/json" }), "craft.json");
  if (binary.length) say(`The file leaves out recordings that are not text: ${binary.join(", ")}. Share these files too.`);
};

const share = async () => {
  const address = addressOf(readCraft(), location.origin + location.pathname);
  if (address.length > MAX_ADDRESS) {
    return say(`This craft does not fit an address: ${address.length} characters, where ${MAX_ADDRESS} fit. Save it as a file and share that.`);
  }
  const left = (await recordingKeys()).length ? " Recordings do not fit: save a file to share them." : "";
  say(`This address holds the craft.${left}`);
  const field = Object.assign(document.createElement("input"), { readOnly: true, value: address, className: "address" });
  field.setAttribute("aria-label", "Address of your craft");
  message.append(field);
  field.select();
  navigator.clipboard?.writeText(address).then(() => { message.firstChild.append("It is copied."); }, () => {});
};

const clear = () => say("Remove your craft and its recordings from this device?", {
  Remove: async () => {
    await clearRecordings();
    clearCraft();
    dispatchEvent(new Event("craftreplaced"));
    say("Removed. This device stores nothing of your craft.");
  },
  Keep: () => {},
});

/** Use a craft that came with the address; unless this device stores another, let people choose. */
const receive = () => {
  const craft = craftInFragment(location.hash);
  if (!craft) {
    if (location.hash.startsWith("#craft=")) say("The craft in this address cannot be read: it may have been cut.");
    return;
  }
  history.replaceState(history.state, "", location.pathname + location.search);
  const mine = readCraft();
  if (JSON.stringify(mine) === JSON.stringify(craft)) return;
  if (isEmpty(mine)) { take(craft); return; }
  say(`This address holds another craft: ${summarize(craft, rowLabels)}. Yours has ${summarize(mine, rowLabels)}.`, {
    "Use the other": () => take(craft),
    "Keep mine": () => {},
  });
};

if (strip) {
  const file = document.getElementById("craft-file");
  const actions = { open: () => file.click(), save, share, clear };
  for (const button of strip.querySelectorAll("[data-craft]")) button.addEventListener("click", actions[button.dataset.craft]);
  file.addEventListener("change", () => { if (file.files[0]) open(file.files[0]); file.value = ""; });
  receive();
  addEventListener("hashchange", receive);
  onCraft(show);
  show();
  strip.hidden = false;
}
