// How an entry of this device is shown: what it is, where it stands, what the service answered.

const STATES = { waiting: "kept on this device, not sent yet", sent: "sent", refused: "refused", held: "not sent: what it rests on was refused" };

function figure(quantity) {
  return `${Number(quantity.value.toPrecision(4))} ${quantity.unit}`;
}

function toldOf(entry) {
  const answer = entry.answer;
  if (entry.state === "refused") return entry.errors.map((one) => `${one.field ? `${one.field}: ` : ""}${one.detail}`);
  if (entry.state === "waiting") return entry.told ? [entry.told] : [];
  if (!answer) return [];
  if (answer.rows_accepted !== undefined) {
    const refused = answer.rejected_rows.map((one) => `Line ${one.line}: ${one.detail}`);
    const findings = answer.findings.map((one) => `${one.severity}: ${one.detail}`);
    return [`${answer.rows_accepted} rows taken, ${answer.rows_rejected} refused.`, ...refused, ...findings];
  }
  if (answer.spacing) return [`Spacing ${figure(answer.spacing)}, ${answer.traverses} traverses.`];
  if (answer.mean) return [`Mean ${figure(answer.mean)}, standard uncertainty ${figure(answer.standard_uncertainty)}.`];
  return answer.recomputation ? ["Results that rest on the old record are being recomputed."] : [];
}

// One entry of the list; `drop` puts it away.
export function item(entry, drop) {
  const row = document.createElement("li");
  row.className = entry.state;
  row.dataset.id = entry.id;
  const head = document.createElement("p");
  const time = new Date(entry.at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  head.textContent = `${entry.what}, ${time}: ${STATES[entry.state]}`;
  row.append(head);
  for (const told of toldOf(entry)) row.append(Object.assign(document.createElement("p"), { textContent: told }));
  if (entry.state === "waiting" && entry.file) row.append(Object.assign(document.createElement("progress"), { max: 1, value: 0, ariaLabel: `${entry.what}, part sent` }));
  if (entry.state !== "waiting") {
    const away = Object.assign(document.createElement("button"), { type: "button", className: "second", textContent: "Put away" });
    away.setAttribute("aria-label", `Put away: ${entry.what}, ${time}`);
    away.addEventListener("click", () => drop(entry.id));
    row.append(away);
  }
  return row;
}
