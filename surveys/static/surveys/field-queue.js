// Requests stored in the browser until the service has answered them. Each has an Idempotency-Key, so that a request whose
// answer was lost can be sent again and takes effect once.

const STORE = "requests";
const RETRY_MS = 10000;
const SENT_SHOWN_MS = 24 * 3600 * 1000;
const AGAIN = new Set([408, 425, 429]);

function asked(request) {
  return new Promise((done, failed) => {
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });
}

function opened() {
  const request = indexedDB.open("surveys-field", 1);
  request.onupgradeneeded = () => request.result.createObjectStore(STORE, { keyPath: "id" });
  return asked(request);
}

let lastTime = 0;

// A time-ordered id (RFC 9562, version 7), as the service creates them; each id is later than the previous one.
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  lastTime = Math.max(Date.now(), lastTime + 1);
  let time = lastTime;
  for (let place = 5; place >= 0; place -= 1) {
    bytes[place] = time % 256;
    time = Math.floor(time / 256);
  }
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

export function cookie(name) {
  const found = document.cookie.split("; ").find((part) => part.startsWith(`${name}=`));
  return found ? decodeURIComponent(found.slice(name.length + 1)) : "";
}

// Sends one request with XMLHttpRequest, which reports the progress of an upload. Rejects without a connection.
function posted(entry, progress) {
  return new Promise((done, failed) => {
    const request = new XMLHttpRequest();
    // The answer has the units of the page on which the entry was saved, even if another page sends the entry.
    request.open("POST", entry.units === "us" ? `${entry.url}?units=us` : entry.url);
    request.setRequestHeader("X-CSRFToken", cookie("csrftoken"));
    request.upload.onprogress = (event) => event.lengthComputable && progress(event.loaded / event.total);
    request.onload = () => done(request);
    request.onerror = request.ontimeout = () => failed(new Error("no connection"));
    if (entry.file) {
      const form = new FormData();
      form.append("file", entry.file, entry.fileName);
      request.send(form);
      return;
    }
    request.setRequestHeader("Idempotency-Key", entry.id);
    request.setRequestHeader("Content-Type", "application/json");
    request.send(JSON.stringify(entry.body));
  });
}

function document_of(request) {
  try {
    return JSON.parse(request.responseText);
  } catch {
    return null;
  }
}

// The state of an entry after an answer: sent, rejected, or waiting to be sent again.
function judged(request) {
  const answer = document_of(request);
  if (answer === null) return { state: "waiting", message: gettext("Unexpected answer. The entry is sent again shortly.") };
  if (request.status < 300) return { state: "sent", answer };
  if (request.status === 401 || answer.code === "csrf-failed") return { state: "waiting", message: gettext("Sign in again. The entry is then sent."), stop: true };
  if (request.status >= 500 || AGAIN.has(request.status) || answer.code === "still-running") {
    return { state: "waiting", message: gettext("The service is busy. The entry is sent again shortly.") };
  }
  return { state: "rejected", errors: answer.errors || [{ field: "", detail: answer.detail }] };
}

export class Queue extends EventTarget {
  constructor(user) {
    super();
    this.user = user;
    this.sending = false;
  }

  async store(mode) {
    this.database ||= await opened();
    return this.database.transaction(STORE, mode).objectStore(STORE);
  }

  async entries() {
    const all = await asked((await this.store("readonly")).getAll());
    return all.filter((one) => one.user === this.user);
  }

  async put(entry) {
    await asked((await this.store("readwrite")).put(entry));
    this.dispatchEvent(new Event("moved"));
  }

  async drop(id) {
    await asked((await this.store("readwrite")).delete(id));
    this.dispatchEvent(new Event("moved"));
  }

  // Stores requests in order, each waiting for the previous one; removes rejected requests of the same sheet.
  async keep(sheet, requests) {
    for (const old of await this.entries()) {
      if (old.sheet === sheet && ["rejected", "held"].includes(old.state)) await this.drop(old.id);
    }
    let after = null;
    for (const request of requests) {
      const { units } = document.documentElement.dataset;
      const entry = { id: newId(), user: this.user, sheet, state: "waiting", at: Date.now(), units, ...request };
      entry.after = after || request.after || null;
      after = entry.id;
      await this.put(entry);
    }
    this.send();
  }

  async send() {
    this.wanted = true;
    if (this.sending) return;
    this.sending = true;
    clearTimeout(this.timer);
    try {
      await this.forgetOld();
      // Requests stored while others are being sent are sent too.
      while (this.wanted) {
        this.wanted = false;
        for (const { id } of await this.entries()) {
          if (!(await this.sendOne(id))) break;
        }
      }
    } finally {
      this.sending = false;
      const waiting = (await this.entries()).some((one) => one.state === "waiting");
      if (waiting) this.timer = setTimeout(() => this.send(), RETRY_MS);
    }
  }

  // Returns whether to continue with the next request.
  async sendOne(id) {
    const all = await this.entries();
    const entry = all.find((one) => one.id === id);
    if (!entry || entry.state !== "waiting") return true;
    const before = entry.after && all.find((one) => one.id === entry.after);
    if (entry.after && (!before || ["rejected", "held"].includes(before.state))) {
      await this.put({ ...entry, state: "held" });
      return true;
    }
    if (before && before.state !== "sent") return true;
    const progress = (part) => this.dispatchEvent(new CustomEvent("progress", { detail: { id, part } }));
    try {
      const { stop, ...outcome } = judged(await posted(entry, progress));
      const file = outcome.state === "sent" ? null : entry.file;
      await this.put({ ...entry, message: "", ...outcome, file });
      this.dispatchEvent(new CustomEvent("answered", { detail: { ...entry, ...outcome } }));
      return !stop;
    } catch {
      await this.put({ ...entry, message: "" });
      this.dispatchEvent(new Event("unreached"));
      return false;
    }
  }

  async forgetOld() {
    const all = await this.entries();
    if (all.some((one) => one.state !== "sent")) return;
    for (const one of all) {
      if (Date.now() - one.at > SENT_SHOWN_MS) await this.drop(one.id);
    }
  }
}
