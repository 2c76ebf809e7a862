// The list of entries on this device: name, state, and the answer of the service.

const STATES = {
  waiting: gettext("saved on this device, not sent yet"),
  sent: gettext("sent"),
  rejected: gettext("rejected"),
  held: gettext("not sent: a previous entry was rejected"),
};
const SEVERITIES = { error: gettext("Error"), warning: gettext("Warning"), info: gettext("Information") };

function figure(quantity) {
  return `${Number(quantity.value.toPrecision(4))}\u00a0${quantity.unit}`.replace("-", "\u2212");
}

function answerTexts(entry) {
  const answer = entry.answer;
  if (entry.state === "rejected") return entry.errors.map((one) => (one.field ? `${one.field.replaceAll(/[._]/g, " ")}: ${one.detail}` : one.detail));
  if (entry.state === "waiting") return entry.message ? [entry.message] : [];
  if (!answer) return [];
  if (answer.rows_accepted !== undefined) {
    const rejected = answer.rejected_rows.map((one) => interpolate(gettext("Line %(line)s: %(detail)s"), one, true));
    const findings = answer.findings.map((one) => `${SEVERITIES[one.severity]}: ${[one.title && `${one.title}.`, one.detail, one.remedy].filter(Boolean).join(" ")}`);
    return [interpolate(gettext("Rows imported: %(rows_accepted)s. Rows rejected: %(rows_rejected)s."), answer, true), ...rejected, ...findings];
  }
  if (answer.spacing) return [interpolate(ngettext("Spacing %(spacing)s, %(traverses)s traverse.", "Spacing %(spacing)s, %(traverses)s traverses.", answer.traverses), { spacing: figure(answer.spacing), traverses: answer.traverses }, true)];
  if (answer.mean) return [interpolate(gettext("Mean %(mean)s, standard uncertainty %(uncertainty)s."), { mean: figure(answer.mean), uncertainty: figure(answer.standard_uncertainty) }, true)];
  return answer.recomputation ? [gettext("The affected results are being recalculated.")] : [];
}

// One entry of the list; `drop` removes the entry.
export function item(entry, drop) {
  const row = document.createElement("li");
  row.className = entry.state;
  row.dataset.id = entry.id;
  const head = document.createElement("p");
  const time = new Date(entry.at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  head.textContent = `${entry.what}, ${time}: ${STATES[entry.state]}`;
  row.append(head);
  for (const message of answerTexts(entry)) row.append(Object.assign(document.createElement("p"), { textContent: message }));
  if (entry.state === "waiting" && entry.file) row.append(Object.assign(document.createElement("progress"), { max: 1, value: 0, ariaLabel: interpolate(gettext("%(what)s, progress"), entry, true) }));
  if (entry.state !== "waiting") {
    const away = Object.assign(document.createElement("button"), { type: "button", className: "second", textContent: gettext("Dismiss") });
    away.setAttribute("aria-label", interpolate(gettext("Dismiss: %(what)s, %(time)s"), { what: entry.what, time }, true));
    away.addEventListener("click", () => drop(entry.id));
    row.append(away);
  }
  return row;
}
