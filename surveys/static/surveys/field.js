// The technician's pages: entries stored as typed, live calculation, saved and sent entries.

import { changedNames, placed, sheetAsked, sheetRequests, surveyBody, wallAsked, wallRequests } from "./field-forms.js";
import { item } from "./field-kept.js";
import { Queue, cookie, newId } from "./field-queue.js";
import { follow } from "./follows.js";

const user = document.body.dataset.user;
const queue = new Queue(user);
const form = document.querySelector("form.sheet");
const sheet = form && `${user}:${form.id}:${form.dataset.point}`;
const kept = document.getElementById("kept");
const line = document.getElementById("line");
const ASKED = { sheet: sheetAsked, wall: wallAsked };
let unreached = false;
let remark = "";

function read(key) {
  return JSON.parse(localStorage.getItem(key) || "null");
}

function write(key, value) {
  try {
    localStorage.setItem(key, JSON.stringify(value));
  } catch {
    showStorageError();
  }
}

function showStorageError() {
  line.textContent = gettext("NOT SAVED: this browser cannot store data (storage full or private window). Write your entries on paper.");
  line.className = "line bad";
}

// --- Entries as typed ---

function fields() {
  return Array.from(form.querySelectorAll("input, select, textarea")).filter((one) => !["file", "hidden"].includes(one.type));
}

function storeEntries() {
  const values = fields().map((one) => [one.id || `${one.name}=${one.value}`, ["checkbox", "radio"].includes(one.type) ? one.checked : one.value]);
  write(`typed:${sheet}`, { values: Object.fromEntries(values), wallMeasurement: form.dataset.wallMeasurement || "" });
}

// A stored choice that is no longer offered is ignored.
function restoreEntries() {
  const typed = read(`typed:${sheet}`);
  if (!typed) return;
  for (const one of fields()) {
    const value = typed.values[one.id || `${one.name}=${one.value}`];
    if (value === undefined) continue;
    if (typeof value === "boolean") one.checked = value;
    else if (one.tagName !== "SELECT" || Array.from(one.options).some((option) => option.value === value)) one.value = value;
  }
  form.dataset.wallMeasurement = typed.wallMeasurement;
}

function forget() {
  localStorage.removeItem(`typed:${sheet}`);
  form.reset();
  delete form.dataset.wallMeasurement;
  for (const place of form.querySelectorAll(".wrong")) clearError(place);
  typedNow();
}

// --- Errors by field ---

function clearError(place) {
  place.textContent = "";
  delete place.dataset.source;
  if (place.previousElementSibling) place.previousElementSibling.removeAttribute("aria-invalid");
}

// The live calculation and saving each clear only their own errors: a late answer of the calculation does not clear the reason for a
// rejection.
function showErrors(errors, source = "saving") {
  for (const place of form.querySelectorAll(`.wrong[data-source="${source}"]`)) clearError(place);
  for (const { field: asked, detail } of errors) {
    const field = placed(form, asked);
    const name = form.querySelector(`[id="wrong-${CSS.escape(field)}"]`) ? field : field.replace(/[.\d]+$/, "").split(".").pop();
    const place = Array.from(form.querySelectorAll(".wrong")).find(({ id }) => id === `wrong-${field}` || id === `wrong-${name}` || (name && id.endsWith(`.${name}`)));
    if (!place) continue;
    place.textContent = detail;
    place.dataset.source = source;
    const entry = place.previousElementSibling;
    if (entry && entry.matches("input, select, textarea")) {
      entry.setAttribute("aria-invalid", "true");
      entry.setAttribute("aria-describedby", place.id);
    }
  }
}

// --- The live calculation ---

function recalculate() {
  if (form && ASKED[form.id] && window.htmx) window.htmx.trigger(form, "change");
}

// The spacing in short; visible and read out while the user types in the fields above.
function showShortResult() {
  const bar = document.getElementById("bar");
  if (!bar) return;
  const spacing = document.getElementById("spacing");
  const errors = document.querySelectorAll("#answer .error").length;
  bar.textContent = spacing ? `${spacing.textContent} · ${spacing.dataset.short}${errors ? ` · ${gettext("Error: see below")}` : ""}` : gettext("No result yet");
  bar.classList.toggle("bad", !spacing || errors > 0);
}

// Replaces a result that does not belong to the current entries.
function replaceResult(...parts) {
  const message = Object.assign(document.createElement("p"), { className: "warning" });
  message.append(...parts);
  document.getElementById("answer").replaceChildren(message);
  showShortResult();
}

function startCalculation() {
  document.addEventListener("htmx:configRequest", (event) => {
    // After a sign-in in another tab the token of this page is out of date; the cookie has the current one.
    const token = cookie("csrftoken");
    event.detail.parameters = { csrfmiddlewaretoken: token, sheet: JSON.stringify(ASKED[form.id](form)) };
  });
  document.addEventListener("htmx:beforeSwap", (event) => {
    if (![400, 409].includes(event.detail.xhr.status)) return;
    event.detail.shouldSwap = true;
    event.detail.isError = false;
  });
  document.addEventListener("htmx:afterSwap", () => {
    const wrong = Array.from(document.querySelectorAll("#answer [data-field]"));
    showErrors(wrong.map((one) => ({ field: one.dataset.field, detail: one.textContent })), "answer");
    showShortResult();
  });
  document.addEventListener("htmx:sendError", () => {
    replaceResult(gettext("No connection. Your entries are stored on this device. The result is calculated when the connection is back. You can save now."));
  });
  document.addEventListener("htmx:responseError", ({ detail }) => {
    if ([401, 403].includes(detail.xhr.status)) {
      const link = Object.assign(document.createElement("a"), { href: document.body.dataset.signIn, target: "_blank", textContent: gettext("Sign in (new tab)") });
      replaceResult(gettext("You are signed out. Your entries are stored on this device. Sign in, then come back to this page."), " ", link);
      return;
    }
    replaceResult(gettext("The service does not respond. Your entries are stored on this device. Try again in a moment."));
  });
}

// --- Saving ---

// An unchanged sheet saved again does not create a second record.
async function storeRequests(requests) {
  const same = (await queue.entries()).some((one) => one.sheet === sheet && ["waiting", "sent"].includes(one.state));
  const digest = JSON.stringify(requests.map(({ url, body, fileName }) => [url, { ...body, id: "", taken_at: "" }, fileName]));
  if (same && read(`saved:${sheet}`) === digest) {
    remark = gettext("Already saved: the entries have not changed.");
    await show();
    return;
  }
  write(`saved:${sheet}`, digest);
  await queue.keep(sheet, requests);
}

async function saveSheet() {
  if (changedNames(form).length && !form.elements.reason.value.trim()) {
    showErrors([{ field: "reason", detail: gettext("Enter the reason for the change of the pipe data. The reason is shown to the client.") }]);
    form.elements.reason.focus();
    return;
  }
  const id = newId();
  const requests = sheetRequests(form, id);
  await storeRequests(requests);
  const own = (await queue.entries()).filter((one) => one.sheet === sheet && one.url.endsWith("/setups/"));
  const latest = own.at(-1);
  if (latest) write(`setup:${user}:${form.dataset.point}`, { id: latest.body.id, entry: latest.id, at: latest.at });
}

// The latest set-up: that of the page, or a later one saved on this device.
function setupNow() {
  const own = read(`setup:${user}:${form.dataset.point}`);
  const page = { id: form.dataset.setup, at: Date.parse(form.dataset.setupAt) || 0 };
  return own && own.at > page.at && own.id !== page.id ? own : page;
}

async function saveSurvey() {
  const setup = setupNow();
  const message = document.getElementById("setup-status");
  if (!setup.id) {
    message.className = "error";
    message.scrollIntoView();
    return;
  }
  const body = surveyBody(form, setup.id);
  const digest = JSON.stringify(body);
  const entries = await queue.entries();
  const saved = read(`survey:${sheet}`);
  const known = saved && saved.digest === digest && entries.find((one) => one.id === saved.entry && !["rejected", "held"].includes(one.state));
  let survey = saved?.id;
  if (!known) {
    survey = newId();
    const waits = entries.find((one) => one.id === setup.entry && one.state !== "sent");
    const entry = newId();
    write(`survey:${sheet}`, { id: survey, entry, digest });
    await queue.keep(sheet, [{ id: entry, what: gettext("Survey"), url: "/api/v1/surveys/", body: { id: survey, ...body }, after: waits?.id }]);
  }
  const file = document.getElementById("file").files[0];
  if (!file) return;
  const url = `/api/v1/surveys/${survey}/log/`;
  await queue.keep(sheet, [{ what: interpolate(gettext("Log %(name)s"), { name: file.name }, true), url, file, fileName: file.name, after: read(`survey:${sheet}`).entry }]);
  document.getElementById("file").value = "";
}

let saving = false;

// Saves once, even if the button is pressed several times.
async function save() {
  if (saving) return;
  saving = true;
  showErrors([]);
  try {
    write(`typed-when-saved:${sheet}`, read(`typed:${sheet}`));
    await SAVE[form.id]();
  } catch {
    showStorageError();
  } finally {
    saving = false;
  }
}

const SAVE = {
  sheet: saveSheet,
  wall: () => storeRequests(wallRequests(form, newId())),
  survey: saveSurvey,
};

// --- Saved and sent entries ---

async function show() {
  const entries = await queue.entries();
  kept.hidden = entries.length === 0;
  kept.querySelector("ul").replaceChildren(...entries.reverse().map((one) => item(one, (id) => queue.drop(id))));
  const waiting = entries.filter((one) => one.state === "waiting").length;
  const rejected = entries.filter((one) => ["rejected", "held"].includes(one.state)).length;
  const off = !navigator.onLine || unreached;
  const parts = [off ? gettext("No connection. Entries are stored on this device and sent when the connection is back.") : gettext("Connected.")];
  if (waiting) parts.push(interpolate(ngettext("%(waiting)s entry not sent yet.", "%(waiting)s entries not sent yet.", waiting), { waiting }, true));
  if (rejected) parts.push(interpolate(ngettext("%(rejected)s entry rejected: see below.", "%(rejected)s entries rejected: see below.", rejected), { rejected }, true));
  if (!waiting && !rejected && !off && entries.length) parts.push(gettext("Everything has been sent."));
  if (remark) parts.push(remark);
  line.textContent = parts.join(" ");
  line.className = `line ${off || waiting ? "off" : ""} ${rejected ? "bad" : ""}`;
}

// Shows the result of a log once the service has imported it.
function showResult({ url, state }) {
  const place = document.getElementById("result");
  const [, survey] = url.match(/surveys\/([^/]+)\/log\/$/) || [];
  if (place && survey && state === "sent") window.htmx.ajax("GET", place.dataset.of.replace(/[0-]{36}/, survey), { target: place, swap: "innerHTML show:top" });
}

// --- Handover of kit ---

const HAND_OVER = "hand-over:";

async function handOver(event) {
  event.preventDefault();
  const { url, what } = event.target.dataset;
  const handed = `${HAND_OVER}${url}`;
  const known = (await queue.entries()).some((one) => one.sheet === handed && one.state === "waiting");
  if (known) return;
  const condition = event.target.elements.condition.value.trim();
  event.target.closest("details").open = false;
  try {
    await queue.keep(handed, [{ what, url, body: { condition, at: new Date().toISOString() } }]);
  } catch {
    showStorageError();
  }
}

// When all requests of a sheet are sent, the stored entries are removed; after a change of the pipe data the page is reloaded.
async function answered({ detail }) {
  unreached = false;
  if (detail.sheet.startsWith(HAND_OVER) && detail.state === "sent" && !form) window.location.reload();
  if (!form || detail.sheet !== sheet) return;
  showResult(detail);
  if (detail.state === "rejected") showErrors(detail.errors);
  const own = (await queue.entries()).filter((one) => one.sheet === sheet);
  if (detail.state !== "sent" || form.id === "survey" || own.some((one) => one.state !== "sent")) return;
  // Entries typed after saving have not been sent yet.
  const later = JSON.stringify(read(`typed:${sheet}`)) !== JSON.stringify(read(`typed-when-saved:${sheet}`));
  if (!later) localStorage.removeItem(`typed:${sheet}`);
  if (form.id === "sheet" && changedNames(form).length) window.location.reload();
}

// --- The page ---

function typedNow() {
  follow(form);
  storeEntries();
  if (form.id !== "sheet") return;
  const names = changedNames(form);
  document.getElementById("change").hidden = names.length === 0;
  document.getElementById("changed").textContent = names.join(", ");
  document.getElementById("since").hidden = form.elements.change.value !== "modifications";
}

function useMeasuredMean({ currentTarget }) {
  form.querySelector('[id="pipe.wall_thickness"]').value = currentTarget.dataset.mean;
  form.dataset.wallMeasurement = currentTarget.dataset.wallMeasurement;
  typedNow();
  recalculate();
}

function beginForm() {
  restoreEntries();
  follow(form);
  if (ASKED[form.id]) startCalculation();
  form.addEventListener("input", ({ target }) => {
    // A wall thickness typed by hand is not the measured mean.
    if (target.id === "pipe.wall_thickness") delete form.dataset.wallMeasurement;
    const message = target.nextElementSibling;
    if (message?.dataset.source === "saving") clearError(message);
    remark = "";
    typedNow();
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    save();
  });
  document.getElementById("clear-form").addEventListener("click", () => {
    forget();
    recalculate();
  });
  document.getElementById("use-measured-mean")?.addEventListener("click", useMeasuredMean);
  if (form.id === "survey") {
    const message = document.getElementById("setup-status");
    const setup = setupNow();
    if (!setup.id) message.textContent = message.dataset.none;
    else if (setup.id !== form.dataset.setup) message.textContent = interpolate(gettext("Set-up saved on this device at %(time)s."), { time: new Date(setup.at).toLocaleTimeString() }, true);
    if (message.textContent === message.dataset.none) message.className = "error";
  }
  if (form.id === "sheet") typedNow();
}

async function cachePages() {
  if (!("serviceWorker" in navigator)) return;
  try {
    await navigator.serviceWorker.register(document.body.dataset.worker, { scope: "/field/" });
  } catch {
    // No connection: the cached pages stay, and the next page opened tries again.
    return;
  }
  const parts = performance.getEntriesByType("resource").map((one) => one.name).filter((name) => /^\/(static|jsi18n)\//.test(new URL(name).pathname));
  const pages = Array.from(document.querySelectorAll(".points a, .steps-nav a"), (one) => one.href);
  // The three pages of a measuring point are cached when the page of the day is opened.
  const further = pages.filter((page) => !/\/(wall|survey)\//.test(page)).flatMap((page) => ["wall/", "survey/"].map((part) => page.replace(/\/(?=\?|$)/, `/${part}`)));
  const cache = await caches.open("field-pages");
  // The page of the day refreshes all pages; a page of a measuring point only adds missing pages.
  const wanted = [window.location.href, ...parts, ...pages, ...further];
  const found = await Promise.all(wanted.map((one) => (form ? cache.match(one) : null)));
  await Promise.allSettled(wanted.filter((_, place) => !found[place]).map((one) => cache.add(one)));
  document.body.dataset.pagesKept = "yes";
}

async function leave(event) {
  const open = (await queue.entries()).filter((one) => one.state !== "sent").length;
  const question = ngettext(
    "%(open)s entry on this device has not been sent. It stays on this device and is sent when you sign in here again. Sign out?",
    "%(open)s entries on this device have not been sent. They stay on this device and are sent when you sign in here again. Sign out?",
    open,
  );
  if (open && !window.confirm(interpolate(question, { open }, true))) return;
  if ("caches" in window) await caches.delete("field-pages");
  event.target.submit();
}

document.getElementById("leave").addEventListener("submit", (event) => {
  event.preventDefault();
  leave(event);
});
queue.addEventListener("moved", show);
queue.addEventListener("answered", answered);
queue.addEventListener("unreached", () => {
  unreached = true;
  show();
});
queue.addEventListener("progress", ({ detail }) => {
  const bar = kept.querySelector(`[data-id="${detail.id}"] progress`);
  if (bar) bar.value = detail.part;
});
window.addEventListener("online", () => {
  unreached = false;
  show();
  queue.send();
  recalculate();
});
window.addEventListener("offline", show);
// After a sign-in in another tab.
window.addEventListener("focus", () => {
  queue.send();
  if (document.querySelector("#answer a[target]")) recalculate();
});
if (form) beginForm();
for (const one of document.querySelectorAll("form.hand-over")) one.addEventListener("submit", handOver);
show();
queue.send();
cachePages();
