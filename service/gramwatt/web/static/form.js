// Updates the results and the page's address while people type. Without this script each result is a new page.
import { addRow, followName, markOverflow, removeRow, updateRowNames } from "./rows.js";

export const form = /** @type {HTMLFormElement} */ (document.getElementById("calculator"));
const MAX_ADDRESS = 7500; // characters; longer forms are sent by POST
const TYPING_PAUSE = 350; // milliseconds without an edit, before the results are fetched
const BUSY_PAUSE = 700; // milliseconds until progress is shown
const CHART_PAUSE = 500; // milliseconds after the results without an edit, before the chart is fetched
const NARROW = matchMedia("(max-width: 36rem)");
const byId = (/** @type {string} */ id) => document.getElementById(id);
let lastRequest = 0;
let timer = 0;
let edits = 0;
let replacing = false;
/** The number of the request, if there is one, whose response replaces the form. */
let formRequest = 0;
/** Controls that were edited meanwhile: the edits are made again in the new form. @type {Set<HTMLInputElement>} */
const waiting = new Set();
let shownAddress = location.pathname + location.search;
/** @type {(() => void)[]} */
const listeners = [];

/** Call a function after each response, also one without a result. */
export const onResults = (/** @type {() => void} */ listener) => { listeners.push(listener); };

/** Whether a form is sent by POST: its recordings do not fit an address. */
const byPost = () => form.method === "post" || [...form.querySelectorAll("input[type=file]")].some(({ files }) => files.length);

export const path = form.getAttribute("action").split("#")[0];

/** The filled fields of the form, without units that are the default. */
export const query = (submitter = undefined) => {
  const parameters = new URLSearchParams();
  for (const [name, value] of new FormData(form, submitter)) {
    if (typeof value !== "string" || value === "") continue;
    if (name === "decimal" && value === ".") continue;
    if (name.endsWith(".unit") && isDefaultUnit(name)) continue;
    parameters.append(name, value);
  }
  return parameters;
};

const isDefaultUnit = (name) => {
  const select = form.elements[name];
  const field = form.elements[name.slice(0, -".unit".length)];
  return (field && !field.value) || (select instanceof HTMLSelectElement && select.options[0].value === select.value);
};

// When all fields are empty, the decimal sign shows the service that this is not a first visit.
export const address = () => `${path}?${query().toString() || "decimal=."}`;

/**
 * Fetch the part of the page that changes.
 * @param {string} url
 * @param {{body?: BodyInit | null, wholePage?: boolean}} [options] `wholePage` fetches the page, to replace the form too
 * @returns {Promise<boolean>} whether the page was updated
 */
export const update = async (url, { body = null, wholePage = false } = {}) => {
  const number = ++lastRequest;
  if (wholePage) formRequest = number;
  clearTimeout(timer); // what was typed before is in this request, or replaced
  const busy = setTimeout(() => document.body.classList.add("busy"), BUSY_PAUSE);
  let received;
  try {
    const target = wholePage ? url : `${url}${url.includes("?") ? "&" : "?"}part=results`;
    const response = await fetch(target, { method: body ? "POST" : "GET", body, headers: { Accept: "text/html" } });
    if (response.status === 413) {
      if (number === lastRequest) showMessage("This is too much to send at once. Your inputs are still here.");
      return false;
    }
    if (!response.ok) throw new Error(response.statusText);
    received = new DOMParser().parseFromString(await response.text(), "text/html");
  } catch {
    if (number === lastRequest) showMessage("The service does not respond. Your inputs are still here: try again later.");
    return false;
  } finally {
    clearTimeout(busy);
    if (number === lastRequest) document.body.classList.remove("busy");
    if (number === formRequest) { formRequest = 0; setTimeout(repeatEdits); }
  }
  if (number !== lastRequest) return false;
  const computed = !("missing" in received.getElementById("results").dataset);
  const isStale = !computed && !wholePage; // another form needs another result
  document.querySelector(".columns").classList.toggle("stale", isStale);
  if (!isStale || !document.querySelector("#headline[data-result]")) showAnswer(received, number, wholePage);
  else byId("errors").replaceWith(document.importNode(received.getElementById("errors"), true));
  if (wholePage) replaceForm(received.getElementById("calculator"));
  else updateFieldStates(received);
  byId("status").textContent = computed ? byId("headline").textContent.trim() : byId("errors").textContent.trim();
  for (const listener of listeners) listener();
  return true;
};

/** Replace the results, with the chart at once for other inputs; without new ones the last stay, grey, beside the error. */
const showAnswer = (/** @type {Document} */ received, /** @type {number} */ number, /** @type {boolean} */ isOther) => {
  const focused = document.activeElement?.closest("#results") ? document.activeElement.name : null;
  const opened = [...document.querySelectorAll("#results details, .folded details")].map(({ open }) => open);
  const oldChart = document.querySelector("#results picture");
  for (const id of ["headline", "summary", "errors", "results", "what-if-chart", "next", "working", "reuse"]) {
    const current = byId(id);
    const replacement = received.getElementById(id);
    if (current && replacement) current.replaceWith(document.importNode(replacement, true));
  }
  const link = document.querySelector("#more a"); // it stays, so that no click on it is lost
  if (link) link.href = received.querySelector("#more a")?.getAttribute("href") ?? link.href;
  const details = [...document.querySelectorAll("#results details, .folded details")];
  details.forEach((each, index) => { each.open = opened[index] ?? false; });
  showWhatIf(received.getElementById("what-if"));
  if (!isOther) replaceChartLater(oldChart, number);
  if (focused) form.elements[focused]?.focus({ preventScroll: true });
  markOverflow();
};

/** Show the controls that vary an input; those that are in use stay. */
const showWhatIf = (/** @type {HTMLDetailsElement | null} */ received) => {
  const current = byId("what-if");
  if (!current || !received || current.contains(document.activeElement)) return;
  const controls = document.importNode(received, true);
  controls.open ||= current.open;
  current.replaceWith(controls);
};

const replaceForm = (/** @type {HTMLFormElement} */ received) => {
  replacing = true; // a removed field that was being edited fires a change event
  const focused = document.activeElement?.form === form ? document.activeElement.name : null;
  document.activeElement?.blur();
  form.replaceChildren(...document.importNode(received, true).childNodes);
  for (const name of ["example", "origins", "unknown", "derived"]) delete form.dataset[name];
  for (const [name, value] of Object.entries(received.dataset)) form.dataset[name] = value;
  if (focused) form.elements[focused]?.focus?.({ preventScroll: true });
  replacing = false;
  enableFiles();
  markOverflow();
  form.dispatchEvent(new CustomEvent("formreplaced"));
};

/** Make edits again in the form that has replaced theirs. */
const repeatEdits = () => {
  const edited = [...waiting];
  waiting.clear();
  for (const old of edited) {
    const field = [...form.elements].find(({ name, type }) => name === old.name && type === old.type);
    if (!field) continue;
    if (field.type === "file") field.files = old.files; else field.value = old.value;
    for (const type of ["input", "change"]) field.dispatchEvent(new Event(type, { bubbles: true }));
  }
};

/** Keep the old chart until there was no edit for a while and the new chart is loaded. */
const replaceChartLater = async (oldChart, number) => {
  const newChart = document.querySelector("#results picture");
  const image = newChart?.querySelector("img");
  if (!image || image.src.startsWith("data:")) return; // it came with the results
  if (!oldChart?.querySelector("img").naturalWidth) return; // never in view: the browser loads the new one when it is
  newChart.replaceWith(oldChart);
  const outdated = image.src !== oldChart.querySelector("img").src;
  oldChart.classList.toggle("outdated", outdated);
  if (!outdated) return;
  const editsBefore = edits;
  await new Promise((resolve) => { setTimeout(resolve, CHART_PAUSE); });
  if (number !== lastRequest || editsBefore !== edits) return;
  image.loading = "eager"; // a lazy image outside the document would never load
  await image.decode().catch(() => {});
  if (number === lastRequest) oldChart.replaceWith(newChart);
};

/** Show errors and assumed values beside the fields, which stay as they are. */
const updateFieldStates = (/** @type {Document} */ received) => {
  for (const error of form.querySelectorAll("p.error")) error.remove();
  const states = received.getElementById("field-states");
  const stateOf = new Map([...states.children].map((state) => [state.dataset.field, state]));
  for (const field of form.querySelectorAll("input[id], select[id], textarea[id], fieldset.table[id]")) {
    if (!field.name && !field.matches("fieldset")) continue;
    if (field.id === "decimal") continue;
    const errors = [...(stateOf.get(field.id)?.querySelectorAll("p.error") ?? [])];
    const parent = field.closest("fieldset.table")?.querySelector(".table-errors") ?? field.closest(".field");
    const hint = parent?.querySelector(":scope > .hint");
    for (const error of errors) parent.insertBefore(document.importNode(error, true), hint ?? null);
    if (errors.length) field.closest("details")?.setAttribute("open", "");
    if (field.matches("fieldset")) continue;
    const hints = (field.getAttribute("aria-describedby") ?? "").split(" ").filter((id) => !/-error\d+$/.test(id));
    setAttribute(field, "aria-describedby", [...hints, ...errors.map(({ id }) => id)].join(" ").trim());
    setAttribute(field, "aria-invalid", errors.length ? "true" : "");
    if (field.matches("input:not([type=file])")) setAttribute(field, "placeholder", stateOf.get(field.id)?.dataset.assumed);
  }
};

/** Enable the controls of recordings that only scripts can send with the others. */
const enableFiles = () => { for (const input of form.querySelectorAll("input[type=file]:disabled")) input.disabled = false; };

const setAttribute = (node, name, value) => { if (value) node.setAttribute(name, value); else node.removeAttribute(name); };

const showMessage = (text) => {
  const box = document.createElement("div");
  box.className = "errors";
  box.setAttribute("role", "alert");
  box.append(Object.assign(document.createElement("p"), { textContent: text }));
  byId("errors").replaceChildren(box);
};

/** Show the form's address, and keep what `state` says about the page. */
export const showAddress = (addToHistory = false, state = history.state) => {
  const url = address();
  if (byPost() || url.length > MAX_ADDRESS) { history.replaceState(state, "", location.href.split("#")[0]); return; }
  if (url !== location.pathname + location.search + location.hash) {
    history[addToHistory ? "pushState" : "replaceState"](state, "", url);
  } else history.replaceState(state, "", url);
  shownAddress = url;
};

/** Show the address of the page without inputs, which shows its example. */
export const showBareAddress = () => {
  history.replaceState(null, "", path);
  shownAddress = path;
};

/** Fetch the results of the form as it is. */
export const submit = (addToHistory = false) => {
  clearTimeout(timer);
  if (byPost() || address().length > MAX_ADDRESS) { // the address stays as it was, and the chart comes with the results
    const body = byPost() ? new FormData(form) : query();
    body.append("shape", NARROW.matches ? "narrow" : "wide");
    return update(path, { body });
  }
  showAddress(addToHistory);
  return update(address());
};

/** Whether an event is an edit of the form that stays, rather than its replacement. */
export const isEdit = (/** @type {Event} */ event) => !replacing && !formRequest && event.target.form === form;

const waitForForm = (/** @type {Event} */ { target }) => { if (formRequest && !replacing && target.form === form && target.name) waiting.add(target); };

const focusFirstError = () => {
  const firstInvalid = form.querySelector("[aria-invalid]");
  if (firstInvalid) firstInvalid.focus();
  else if (matchMedia("(max-width: 60rem)").matches) byId("results").scrollIntoView();
};

/** Listen to the form. */
export const listen = () => {
  enableFiles();
  form.addEventListener("submit", (event) => {
    const button = event.submitter;
    if (button?.name === "download") return; // the browser stores the response
    event.preventDefault();
    if (formRequest) return; // its response replaces the form: rows can be added or removed then
    if (button?.name === "add") {
      const row = addRow(form.querySelector(`[data-table="${button.value}"]`));
      enableFiles();
      row.querySelector("input, select").focus();
    } else if (button?.name === "remove") {
      const row = button.closest(".row");
      removeRow(button).focus();
      form.dispatchEvent(new CustomEvent("rowremoved", { detail: row }));
      submit(true);
    } else submit(true).then(focusFirstError);
  });
  for (const type of ["input", "change"]) document.addEventListener(type, waitForForm);
  document.addEventListener("input", (event) => {
    if (event.target.type === "checkbox") { markOverflow(); return; }
    if (!isEdit(event) || event.target.type === "file") return;
    edits += 1;
    if (event.target.name.endsWith(".name")) updateRowNames(form);
    clearTimeout(timer);
    if (!byPost()) timer = setTimeout(submit, TYPING_PAUSE);
  });
  document.addEventListener("change", (event) => {
    if (!isEdit(event) || !event.target.name) return;
    const renamed = event.target.name.endsWith(".name") && followName(event.target);
    if (renamed) form.dispatchEvent(new CustomEvent("rowrenamed", { detail: renamed }));
    submit(true);
  });
  addEventListener("resize", markOverflow);
  markOverflow();
  addEventListener("popstate", () => {
    const url = location.pathname + location.search; // a link within the page leaves both as they are
    if (byPost() || url === shownAddress) return;
    clearTimeout(timer);
    shownAddress = url;
    update(url, { wholePage: true });
  });
};
