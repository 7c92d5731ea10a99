// Sends the example on the page of an operation, as changed by the reader, and shows the response.
const form = document.querySelector("#trial");
const panel = document.querySelector("#trial-response");
const status = document.querySelector("#trial-status");
const LONGEST = 100_000;

function show(statusLine, headers, body) {
  status.textContent = statusLine;
  document.querySelector("#trial-headers").textContent = headers;
  document.querySelector("#trial-text").textContent = body;
  panel.hidden = false;
}

function format(text, type) {
  let shown = text;
  if (/[/+]json\b/.test(type)) {
    try {
      shown = JSON.stringify(JSON.parse(text), null, 2);
    } catch {
      // as it came
    }
  }
  return shown.length > LONGEST ? `${shown.slice(0, LONGEST)}\n… ${shown.length - LONGEST} more characters` : shown;
}

async function send(event) {
  event.preventDefault();
  const { url, body, type, accept } = form.elements;
  const headers = { Accept: accept.value, ...(body && { "Content-Type": type.value }) };
  form.setAttribute("aria-busy", "true");
  const start = performance.now();
  try {
    const response = await fetch(new URL(url.value, location.href), { method: form.dataset.method, headers, body: body?.value });
    const kind = response.headers.get("Content-Type") ?? "";
    const isText = /^text\/|[/+](?:json|xml|x-ndjson|yaml)\b/.test(kind);
    const text = isText ? format(await response.text(), kind) : `${(await response.arrayBuffer()).byteLength} bytes of ${kind}`;
    const milliseconds = Math.round(performance.now() - start);
    show(`${response.status} ${response.statusText} in ${milliseconds} ms`.replace("  ", " "), [...response.headers].map((each) => each.join(": ")).join("\n"), text);
  } catch (error) {
    show(`No response: ${error.message}`, "", "");
  } finally {
    form.removeAttribute("aria-busy");
  }
}

form.addEventListener("submit", send);
form.hidden = false;
