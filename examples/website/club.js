// A club's weigh-in: calls mass-margin of a Gramwatt service on another origin, and shows the result or the errors.
"use strict";

const SERVICE = document.body.dataset.service.replace(/\/+$/, "");
const PAUSE = 400; // ms without typing before a request is sent
const INVENTED = [
  ["frame", "38.2", "1"],
  ["motor", "11.4", "4"],
  ["propeller", "1.3", "4"],
  ["electronics", "31.9", "1"],
  ["camera", "27.6", "1"],
  ["pack", "96.2 ± 0.5", "1"],
];
const VERDICTS = { under: "Under the limit", over: "Over the limit", "too-close-to-call": "Too close to call" };

const byId = (id) => document.getElementById(id);
const form = byId("weigh-in");
let controller = new AbortController();
let pause = 0;

/** The value of a field as the service accepts it: a number, or text for the service to read. */
const valueOf = (text) => (/^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(text) ? Number(text) : text);

/** A mass as it is shown, with a minus sign and no more decimals than a good scale has. */
const grams = (value, decimals = 1) => value.toFixed(decimals).replace("-", "\u2212") + "\u00a0g";

/** A probability, never shown as certain. */
function percent(value) {
  if (value > 99.9) return "more than 99.9\u00a0%";
  return value < 0.1 ? "less than 0.1\u00a0%" : `${value.toFixed(1)}\u00a0%`;
}

function addPart(name = "", mass = "", count = "1") {
  const row = byId("part").content.firstElementChild.cloneNode(true);
  row.querySelector(".name").value = name;
  row.querySelector(".mass").value = mass;
  row.querySelector(".count").value = count;
  byId("parts").append(row);
  nameRows();
  return row;
}

/** Name in each field's label which part it belongs to, for those who hear the page. */
function nameRows() {
  [...byId("parts").children].forEach((row, index) => {
    const part = row.querySelector(".name").value.trim() || `part ${index + 1}`;
    row.querySelector(".name").setAttribute("aria-label", `Name of part ${index + 1}`);
    row.querySelector(".mass").setAttribute("aria-label", `Mass of ${part}, in grams`);
    row.querySelector(".count").setAttribute("aria-label", `Pieces of ${part}`);
    row.querySelector(".remove").setAttribute("aria-label", `Remove ${part}`);
  });
}

/** The inputs as entered, and the field for each JSON pointer. Empty rows are left out. */
function readInputs() {
  const fields = new Map();
  const parts = [];
  for (const row of byId("parts").children) {
    const [name, mass, count] = ["name", "mass", "count"].map((part) => row.querySelector("." + part));
    if (!name.value.trim() && !mass.value.trim()) continue;
    const part = { mass: valueOf(mass.value.trim()), count: valueOf(count.value.trim()) };
    if (name.value.trim()) part.name = name.value.trim();
    fields.set(`/parts/${parts.length}/name`, name);
    fields.set(`/parts/${parts.length}/mass`, mass);
    fields.set(`/parts/${parts.length}/count`, count);
    parts.push(part);
  }
  const inputs = { parts, rule: byId("rule").value, scale_resolution: valueOf(byId("resolution").value.trim()) };
  if (inputs.rule === "custom") inputs.mass_limit = valueOf(byId("limit").value.trim());
  for (const field of form.querySelectorAll("[data-pointer]")) fields.set(field.dataset.pointer, field);
  return { inputs, fields };
}

/** Request the result for the inputs as entered. */
async function update() {
  clearTimeout(pause);
  controller.abort();
  controller = new AbortController();
  const { inputs, fields } = readInputs();
  byId("result").classList.add("stale");
  if (inputs.parts.length === 0) {
    clearErrors();
    complain("Enter the mass of at least one part.");
    return;
  }
  try {
    const response = await fetch(`${SERVICE}/v1/mass-margin`, {
      method: "POST",
      headers: { "Content-Type": "application/json", Accept: "application/json" },
      body: JSON.stringify(inputs),
      signal: controller.signal,
    });
    const body = await response.json();
    clearErrors();
    if (response.ok) show(body);
    else showErrors(body, fields);
  } catch (error) {
    if (error.name === "AbortError") return;
    clearErrors();
    complain(`The calculator at ${SERVICE} did not respond. Try again later.`);
  }
}

function show({ inputs, results, cautions }) {
  const { mass_margin: margin, total_mass: total, expanded_mass_uncertainty: spread, verdict } = results;
  const fine = spread < 0.1 ? 2 : 1;
  const side = margin < 0 ? "above" : "below";
  byId("result").classList.remove("stale");
  byId("result").dataset.verdict = verdict;
  byId("verdict").textContent = `${VERDICTS[verdict]}: ${grams(Math.abs(margin), fine)} ${side} it`;
  byId("summary").textContent =
    `${grams(total, fine)} in all, give or take ${grams(spread, fine)}. ` +
    `The limit is ${inputs.limit_comparison === "below" ? "less than " : ""}${+inputs.mass_limit.toFixed(2)}\u00a0g` +
    `${inputs.limit_comparison === "below" ? "" : " or less"}, met with a probability of ${percent(results.probability_under_limit)}.`;
  const rows = inputs.parts.map((part, index) => {
    const row = document.createElement("tr");
    const name = document.createElement("th");
    name.scope = "row";
    name.textContent = part.count > 1 ? `${part.name} × ${part.count}` : part.name;
    const share = results.mass_share_by_part ? `${results.mass_share_by_part[index].toFixed(1)} %` : "–";
    const cells = [grams(results.running_total_mass[index], fine), share].map((text) => {
      const cell = document.createElement("td");
      cell.textContent = text;
      return cell;
    });
    row.append(name, ...cells);
    return row;
  });
  byId("shares").tBodies[0].replaceChildren(...rows);
  byId("shares").hidden = false;
  byId("cautions").replaceChildren(
    ...cautions.map(({ text }) => Object.assign(document.createElement("li"), { textContent: text })),
  );
}

/** Show each error next to its field; errors without a field here, and other problems, above the result. */
function showErrors(problem, fields) {
  const elsewhere = [];
  for (const { pointer, detail } of problem.errors ?? []) {
    const field = fields.get(pointer);
    if (!field) {
      elsewhere.push(`${pointer.slice(1)}: ${detail}`);
      continue;
    }
    const id = `fault-${pointer.slice(1).replaceAll("/", "-")}`;
    const text = `${field.getAttribute("aria-label") ?? field.labels[0].textContent}: ${detail}`;
    field.parentElement.append(
      Object.assign(document.createElement("span"), { id, className: "fault", textContent: text }),
    );
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-describedby", id);
  }
  if (elsewhere.length || !problem.errors) complain(elsewhere.join("; ") || problem.detail || problem.title);
  else complain("Not added up: see the marked fields.");
}

function clearErrors() {
  form.querySelectorAll(".fault").forEach((each) => each.remove());
  form.querySelectorAll("[aria-invalid]").forEach((field) => {
    field.removeAttribute("aria-invalid");
    field.removeAttribute("aria-describedby");
  });
  byId("problem").hidden = true;
}

function complain(text) {
  byId("problem").textContent = text;
  byId("problem").hidden = false;
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  await update();
  form.querySelector("[aria-invalid]")?.focus();
});
form.addEventListener("input", () => {
  byId("own-limit").hidden = byId("rule").value !== "custom";
  nameRows();
  clearTimeout(pause);
  pause = setTimeout(update, PAUSE);
});
byId("add").addEventListener("click", () => addPart().querySelector(".name").focus());
byId("parts").addEventListener("click", (event) => {
  const remove = event.target.closest(".remove");
  if (!remove) return;
  const row = remove.closest("li");
  const next = row.nextElementSibling ?? row.previousElementSibling;
  row.remove();
  (next?.querySelector(".remove") ?? byId("add")).focus();
  nameRows();
  update();
});

INVENTED.forEach((part) => addPart(...part));
byId("own-limit").hidden = byId("rule").value !== "custom";
update();
