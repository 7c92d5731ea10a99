// The page of a calculator: results while people type, the fields filled from the craft, recordings.
import { connect } from "./craft-form.js";
import "./still.js";
import { address, form, listen, onResults, update } from "./form.js";

const addCopyButtons = () => {
  if (!navigator.clipboard) return;
  for (const code of document.querySelectorAll(".snippet pre")) {
    if (code.previousElementSibling?.matches("button")) continue;
    const button = Object.assign(document.createElement("button"), { type: "button", className: "secondary", textContent: "Copy" });
    button.setAttribute("aria-label", `Copy: ${code.closest(".snippet").querySelector("h3").textContent}`);
    button.addEventListener("click", async () => {
      await navigator.clipboard.writeText(code.textContent);
      button.textContent = "Copied";
    });
    code.before(button);
  }
};

/** Show and send the example with commas, where a comma is the decimal sign. */
const useDecimalComma = () => {
  const decimal = form.elements.decimal;
  if (location.search || !(1.5).toLocaleString().includes(",") || decimal.value !== ".") return false;
  decimal.value = ",";
  for (const field of form.querySelectorAll("input.quantity")) field.value = field.value.replace(".", ",");
  for (const field of form.querySelectorAll("textarea:not(.recording)")) field.value = field.value.replaceAll(", ", "; ").replaceAll(".", ",");
  return true;
};

listen();
onResults(addCopyButtons);
addCopyButtons();
if (useDecimalComma() && form.method !== "post") update(address());
if (form.dataset.fields) connect();
