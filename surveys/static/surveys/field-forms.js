// Request bodies from the fields of a form; quantities are sent as typed, without conversion.

const PARTS = ["outer_diameter", "wall_thickness", "material"];
const COMPOSITION = ["salinity", "mass_fraction", "api_gravity"];
const PLAIN = new Set(["mass_fraction", "api_gravity"]);

function text(form, id) {
  return form.querySelector(`[id="${id}"]`).value.trim();
}

// Whether a field differs from its initial value.
function moved(form, id) {
  const field = form.querySelector(`[id="${id}"]`);
  if (field.tagName !== "SELECT") return field.value.trim() !== field.defaultValue.trim();
  const first = Array.from(field.options).find((option) => option.defaultSelected) || field.options[0];
  return field.value !== first.value;
}

function given(form, ids) {
  return Object.fromEntries(ids.map((id) => [id, text(form, id)]).filter(([, value]) => value !== ""));
}

// A temperature with its source.
function temperature(form) {
  const value = text(form, "medium_temperature");
  if (value === "") return {};
  return { medium_temperature: value, medium_temperature_source: text(form, "medium_temperature_source") };
}

// The fields of the composition that the selected medium requires.
function needed(form) {
  return COMPOSITION.filter((part) => !form.querySelector(`[id="medium.${part}"]`).closest("[hidden]"));
}

// A number for a field without a unit; text that is not a number is sent as typed and rejected at its field.
function stated(form, part) {
  const value = text(form, `medium.${part}`);
  return PLAIN.has(part) && value && Number.isFinite(Number(value)) ? Number(value) : value;
}

function mediumIds(form) {
  return ["name", ...needed(form), "pressure"].map((part) => `medium.${part}`);
}

// The further linings entered: the visible rows with a selected material.
function furtherRows(form) {
  const rows = Array.from(form.querySelectorAll("[data-lining]"));
  return rows.filter((one) => one.value && !one.closest("[hidden]")).map((one) => one.dataset.lining);
}

function furtherIds(form) {
  const rows = Array.from(form.querySelectorAll("[data-lining]"), (one) => one.dataset.lining);
  return rows.flatMap((row) => [`${row}.material`, `${row}.thickness`]);
}

// The request for a row; an unchanged thickness is sent with all digits, as stored.
function furtherLining(form, row) {
  const chosen = form.querySelector(`[id="${row}.material"]`);
  const thickness = form.querySelector(`[id="${row}.thickness"]`);
  const kept = thickness.dataset.stored && !moved(form, thickness.id);
  return {
    material: chosen.value === "*" ? JSON.parse(chosen.dataset.figures) : chosen.value,
    thickness: kept ? JSON.parse(thickness.dataset.stored) : thickness.value.trim(),
  };
}

// The field of the sheet for a field of a request; rows without a material were not sent.
export function placed(form, field) {
  const found = field.match(/^pipe\.further_linings\.(\d+)(.*)$/);
  const row = found && furtherRows(form)[Number(found[1])];
  return row ? row + found[2] : field;
}

// The entries about the pipe and medium that differ from the recorded data.
export function changes(form) {
  const pipe = {};
  for (const part of PARTS) if (moved(form, `pipe.${part}`)) pipe[part] = text(form, `pipe.${part}`);
  if (moved(form, "pipe.lining.material") || moved(form, "pipe.lining.thickness")) {
    const material = text(form, "pipe.lining.material");
    const thickness = text(form, "pipe.lining.thickness");
    pipe.lining = material || thickness ? { material, thickness } : null;
  }
  if (furtherIds(form).some((id) => moved(form, id))) pipe.further_linings = furtherRows(form).map((row) => furtherLining(form, row));
  const changed = { pipe };
  if (mediumIds(form).some((id) => moved(form, id))) {
    const { medium_temperature: value, medium_temperature_source: known } = temperature(form);
    changed.medium = { name: text(form, "medium.name") };
    if (value) Object.assign(changed.medium, { temperature: value, temperature_source: known });
    for (const part of needed(form)) if (text(form, `medium.${part}`)) changed.medium[part] = stated(form, part);
    if (text(form, "medium.pressure")) changed.medium.pressure = text(form, "medium.pressure");
  }
  return changed;
}

export function changedNames(form) {
  const ids = [...PARTS.map((part) => `pipe.${part}`), "pipe.lining.material", "pipe.lining.thickness", ...furtherIds(form), ...mediumIds(form)];
  return ids.filter((id) => moved(form, id)).map((id) => form.querySelector(`label[for="${id}"]`).textContent.toLowerCase());
}

function mounting(form) {
  const body = { transducers: text(form, "transducers"), ...given(form, ["meter", "expected_velocity"]) };
  if (text(form, "traverses")) body.traverses = Number(text(form, "traverses"));
  // The recorded temperature applies unless another one was entered.
  if (moved(form, "medium_temperature") || moved(form, "medium_temperature_source")) Object.assign(body, temperature(form));
  return body;
}

// The request of the live calculation.
export function sheetAsked(form) {
  const body = mounting(form);
  return { ...changes(form), ...body, transducers: { instrument: body.transducers }, ...given(form, ["measured_sound_speed"]) };
}

export function sheetRequests(form, id) {
  const { point, pipe, data } = form.dataset;
  const requests = [];
  const changed = changes(form);
  if (Object.keys(changed.pipe).length || changed.medium) {
    const kind = form.elements.change.value;
    const body = { ...changed, reason: text(form, "reason") };
    if (kind === "modifications") body.valid_from = text(form, "valid_from");
    else body.corrects = data;
    if (changed.pipe.wall_thickness && form.dataset.wallMeasurement) body.wall_measurement = form.dataset.wallMeasurement;
    requests.push({ what: kind === "modifications" ? gettext("Modification of the pipe") : gettext("Correction of the pipe data"), url: `/api/v1/pipes/${pipe}/${kind}/`, body });
  }
  requests.push({ what: gettext("Set-up"), url: `/api/v1/measuring-points/${point}/setups/`, body: { id, ...mounting(form) } });
  return requests;
}

export function wallAsked(form) {
  const unit = text(form, "unit");
  const readings = Array.from(form.querySelectorAll("[data-hour]"), (field) => field.value.trim());
  const body = { gauge: text(form, "gauge"), ...given(form, ["gauge_velocity_setting"]) };
  // A reading entered with a unit keeps its unit.
  body.readings = readings.filter(Boolean).map((value) => (/[a-z]/i.test(value) ? value : `${value} ${unit}`));
  return body;
}

export function wallRequests(form, id) {
  const hours = Array.from(form.querySelectorAll("[data-hour]")).filter((field) => field.value.trim());
  const note = interpolate(gettext("Clock positions of the readings, viewed in flow direction: %(positions)s."), { positions: hours.map((field) => field.dataset.hour).join(", ") }, true);
  const body = { id, ...wallAsked(form), note, taken_at: new Date().toISOString() };
  return [{ what: gettext("Wall readings"), url: `/api/v1/pipes/${form.dataset.pipe}/wall-measurements/`, body }];
}

export function surveyBody(form, setup) {
  const open = Array.from(form.querySelectorAll("[data-text]:not(:checked)"), (box) => `- ${box.dataset.text}`);
  const note = [text(form, "note"), open.length ? `${gettext("Checklist items not ticked:")}\n${open.join("\n")}` : gettext("All checklist items ticked.")];
  const started = text(form, "started_at");
  return {
    measuring_point: form.dataset.point,
    setup,
    job: form.dataset.job || null,
    instruments: [text(form, "meter")],
    started_at: started ? new Date(started).toISOString() : "",
    ...given(form, ["mounted_spacing"]),
    ...temperature(form),
    note: note.filter(Boolean).join("\n"),
  };
}
