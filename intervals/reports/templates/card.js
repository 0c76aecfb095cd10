"use strict";
// What is typed is kept in this browser under the card's code; times are instants, so that a clock goes on while the screen sleeps.
const byId = (id) => document.getElementById(id);
const card = JSON.parse(byId("card").textContent);
const words = JSON.parse(byId("words").textContent);
const said = (value) => String(value).replace(".", words.decimal);
const put = (key, values) => words[key].replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);
const place = `intervals.card ${card.code}`;
const lines = new Map(card.steps.map((step) => [step.id, step]));
// a step on the screen is its row on the paper, with what its kind is answered by
card.steps.forEach((step, index) => {
  const n = index + 1, row = byId(`p${n}`), panel = document.createElement("section");
  const text = (selector) => row.querySelector(selector)?.textContent ?? "";
  Object.assign(panel, { className: "panel step", tabIndex: -1, innerHTML: byId(`k-${step.kind}`).innerHTML.replaceAll("{n}", n) });
  Object.assign(panel.dataset, { id: step.id, number: n });
  panel.setAttribute("aria-labelledby", `t${n}`);
  const phase = row.closest("section").querySelector("h2").textContent;
  panel.querySelector(".over").textContent = [`${words.step} ${n} / ${card.steps.length}`, phase, text(".kind"), text(".tasks")].filter(Boolean).join(" · ");
  panel.querySelector("h2").append(row.querySelector(".said").cloneNode(true));
  panel.querySelector("h2").after(...[...row.querySelectorAll(".fact")].map((fact) => fact.cloneNode(true)));
  if (step.kind === "measure") panel.querySelector(`[for="v${n}"]`).textContent = [words.value, step.unit].filter(Boolean).join(", ");
  byId("finish").before(panel);
});
const panels = [...document.querySelectorAll(".panel")];
const steps = panels.filter((panel) => panel.dataset.id);
const fresh = () => ({ steps: {}, as_found: {}, not_done: [], view: { mode: "one", at: 0 } });
let state = fresh();
try {
  state = { ...fresh(), ...JSON.parse(localStorage.getItem(place) ?? "{}") };
} catch {
  byId("not-kept").hidden = false;
}
const keep = () => {
  try {
    localStorage.setItem(place, JSON.stringify(state));
  } catch {
    byId("not-kept").hidden = false;
  }
};

// a moment as this device's clock shows it, with its offset from UTC
const stamp = () => {
  const at = new Date(Date.now());
  const minutes = -at.getTimezoneOffset();
  const two = (number) => String(Math.trunc(Math.abs(number))).padStart(2, "0");
  const local = new Date(at.getTime() + minutes * 60000).toISOString().slice(0, 19);
  return `${local}${minutes < 0 ? "-" : "+"}${two(minutes / 60)}:${two(minutes % 60)}`;
};
const span = (from, to) => Math.max(0, Math.floor((to - Date.parse(from)) / 1000));
const shown = (seconds) => [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60]
  .filter((part, index) => index || part).map((part, index) => (index ? String(part).padStart(2, "0") : part)).join(":");
// 12,5 and 12.5 are the same number; anything else is asked for again, also 1.250, which may be a thousand or one
const number = (text) => {
  const plain = (text ?? "").trim().replace(/^\+/, "").replace(",", ".");
  return !/^-?[1-9]\d{0,2}\.\d{3}$/.test(plain) && /^-?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : null;
};
const isOutside = (value, limits) => Object.entries(limits ?? {}).some(([word, bound]) => bound !== null && ({
  above: value <= bound, at_least: value < bound, below: value >= bound, at_most: value > bound,
})[word]);

// the work ended when the last step was answered, unless the person says otherwise
const lastAnswer = () => Object.values(state.steps).flatMap((given) => [given.started_at, given.ended_at, given.at]).filter(Boolean)
  .reduce((last, at) => (last && Date.parse(last) >= Date.parse(at) ? last : at), "");
const meterText = () => (state.hour_meter_h ?? "").trim();
const isMeterOdd = () => meterText() !== "" && number(meterText()) === null;
const joined = (...texts) => texts.map((text) => (text ?? "").trim()).filter(Boolean).join("; ").slice(0, 2000);

const isExcused = (given) => ["no", "not_applicable", "left_out"].includes(given.answer);
const isAnswered = (id) => {
  const given = state.steps[id] ?? {};
  if (["not_applicable", "left_out"].includes(given.answer)) return true;
  switch (lines.get(id).kind) {
    case "wait": return Boolean(given.started_at && given.ended_at);
    case "measure": return number(given.value) !== null;
    case "sample": return Boolean(given.label);
    default: return Boolean(given.answer);
  }
};

const drawClock = (panel, line, given) => {
  const part = (name) => panel.querySelector(`[data-act="${name}"]`);
  part("start").hidden = Boolean(given.started_at);
  part("stop").hidden = !given.started_at || Boolean(given.ended_at);
  part("again").hidden = !given.started_at;
  let text = "", told = "";
  if (given.started_at) {
    const seconds = span(given.started_at, given.ended_at ? Date.parse(given.ended_at) : Date.now());
    const short = line.minutes === null ? 0 : line.minutes * 60 - seconds;
    if (given.ended_at) {
      text = put("lasted", { time: shown(seconds) });
      if (short > 0) told = put("too_short", { minutes: said(line.minutes) });
    } else if (short > 0) {
      text = put("still", { time: shown(Math.ceil(short)) });
    } else {
      text = put("running", { time: shown(seconds) });
      if (line.minutes !== null) told = put("time_is_up", { minutes: said(line.minutes) });
    }
  }
  panel.querySelector(".time").textContent = text;
  // a screen reader says a status again whenever it is set
  if (panel.querySelector(".up").textContent !== told) panel.querySelector(".up").textContent = told;
  return text;
};
const drawValue = (panel, line, given) => {
  const value = number(given.value), typed = (given.value ?? "").trim() !== "";
  const outside = value !== null && isOutside(value, line.limits);
  const warning = panel.querySelector(".warn");
  const told = typed && value === null ? words.no_number : outside ? put("outside", { limits: line.limits_text }) : "";
  warning.hidden = !told;
  if (warning.textContent !== told) warning.textContent = told;
  panel.querySelector('[data-field="value"]').setAttribute("aria-invalid", String(Boolean(told)));
  const again = panel.querySelector('[data-field="confirmed_outside"]');
  again.closest("label").hidden = !outside;
  if (!outside && again.checked) {
    again.checked = false;
    delete given.confirmed_outside;
  }
};
const draw = (panel) => {
  const line = lines.get(panel.dataset.id), given = state.steps[line.id] ?? {};
  if (line.kind === "wait") drawClock(panel, line, given);
  if (line.kind === "measure") drawValue(panel, line, given);
  panel.querySelector(".reason").hidden = !isExcused(given);
  for (const radio of panel.querySelectorAll('[data-field="answer"]')) radio.checked = radio.value === given.answer;
};
const drawAll = () => {
  const open = steps.filter((panel) => !isAnswered(panel.dataset.id)).map((panel) => panel.dataset.number);
  byId("share").value = steps.length - open.length;
  byId("count").textContent = put("progress", { done: steps.length - open.length, all: steps.length });
  byId("open").textContent = open.length ? put("open_steps", { steps: open.join(", ") }) : words.none_open;
  byId("meter-warn").hidden = !isMeterOdd();
  if (!state.ended_typed && document.activeElement !== byId("f-ended")) byId("f-ended").value = lastAnswer().slice(0, 16);
};
const tick = () => {
  let text = "";
  for (const panel of steps) {
    const line = lines.get(panel.dataset.id), given = state.steps[line.id];
    if (line.kind !== "wait" || !given?.started_at || given.ended_at) continue;
    const told = drawClock(panel, line, given);
    text ||= `${panel.dataset.number}: ${told}`;
  }
  byId("running").textContent = text;
};

const changed = () => {
  state.started_at ??= stamp();
  byId("saved").textContent = "";
  byId("copy").hidden = true;
  keep();
  drawAll();
  tick();
};
const ofStep = (panel, change) => {
  const given = (state.steps[panel.dataset.id] ??= {});
  change(given);
  draw(panel);
  changed();
};
document.addEventListener("input", ({ target }) => {
  const name = target.dataset.field;
  if (!name) return;
  const value = target.type === "checkbox" ? target.checked : target.value;
  const panel = target.closest("[data-id]"), task = target.closest("[data-task]")?.dataset.task;
  if (panel) {
    ofStep(panel, (given) => {
      given[name] = value;
      if (name === "answer") given.at = stamp();
      if (name === "value" || name === "label") {
        const isGiven = name === "value" ? number(value) !== null : value.trim() !== "";
        if (isGiven) Object.assign(given, { answer: "done", at: stamp() });
        else if (given.answer === "done") delete given.answer;
      }
    });
    return;
  }
  if (name === "as_found") state.as_found[task] = value;
  else if (name === "not_done") state.not_done = state.not_done.filter((each) => each !== task).concat(value ? [task] : []);
  else state[name] = value;
  changed();
});
document.addEventListener("click", ({ target }) => {
  const act = target.dataset?.act;
  if (!act) return;
  const panel = target.closest("[data-id]");
  ofStep(panel, (given) => {
    if (act === "start") given.started_at = stamp();
    if (act === "stop") Object.assign(given, { ended_at: stamp(), at: stamp(), answer: "done" });
    if (act === "again") for (const key of ["started_at", "ended_at", "at", "answer"]) delete given[key];
  });
  panel.querySelector("[data-act]:not([hidden])").focus();
});

// one step at a time, or all of them
const show = (at, mode = state.view.mode, isFocused = true) => {
  state.view = { mode, at: Math.min(Math.max(at, 0), panels.length - 1) };
  const isOne = mode === "one";
  panels.forEach((panel, index) => { panel.hidden = isOne && index !== state.view.at; });
  byId("screen").classList.toggle("list", !isOne);
  document.querySelector("nav.steps").hidden = !isOne;
  byId("one").setAttribute("aria-pressed", String(isOne));
  byId("all").setAttribute("aria-pressed", String(!isOne));
  byId("back").disabled = state.view.at === 0;
  byId("next").disabled = state.view.at === panels.length - 1;
  keep();
  if (isFocused) {
    panels[state.view.at].focus({ preventScroll: isOne });
    if (isOne) scrollTo(0, 0);
  }
};
byId("back").addEventListener("click", () => show(state.view.at - 1));
byId("next").addEventListener("click", () => show(state.view.at + 1));
byId("one").addEventListener("click", () => show(state.view.at, "one"));
byId("all").addEventListener("click", () => show(state.view.at, "all"));
document.addEventListener("focusin", ({ target }) => {
  const at = panels.indexOf(target.closest(".panel"));
  if (at >= 0 && state.view.mode === "all") state.view.at = at;
});

// handing in: a file, or the text to copy; the same again while nothing is changed. What is no number is kept as a remark
const withRemark = (given) => ((given.value ?? "").trim() && number(given.value) === null
  ? { ...given, remark: joined(given.remark, `${words.value}: ${given.value}`) } : given);
const tidy = (given) => Object.fromEntries(Object.entries(withRemark(given))
  .map(([key, value]) => [key, key === "value" ? number(value) : typeof value === "string" ? value.trim() : value])
  .filter(([key, value]) => value !== "" && value !== null && value !== false && (key !== "reason" || isExcused(given))));
const handedIn = () => {
  state.started_at ??= stamp();
  keep();
  const odd = isMeterOdd() ? `${words.meter}: ${meterText()}` : "";
  const given = card.steps.map(({ id }) => [id, tidy(state.steps[id] ?? {})]).filter(([, each]) => Object.keys(each).length);
  return `${JSON.stringify({
    schema: "intervals.handed-in/1", card, started_at: state.started_at, ended_at: state.ended_typed || lastAnswer() || state.started_at,
    by: (state.by ?? "").trim(), released_by: (state.released_by ?? "").trim(), hour_meter_h: number(state.hour_meter_h),
    remarks: joined(state.remarks, odd), as_found: state.as_found, not_done: state.not_done, steps: Object.fromEntries(given),
  }, null, 2)}\n`;
};
let askedAbout = "";
byId("hand-in").addEventListener("click", () => {
  if (isMeterOdd() && askedAbout !== meterText()) {
    askedAbout = meterText();
    show(0);
    byId("f-meter").focus();
    return;
  }
  const text = handedIn(), file = `${card.code}.card.json`;
  const link = document.createElement("a");
  const canSave = "download" in link && typeof URL.createObjectURL === "function";
  if (canSave) {
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.download = file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    byId("saved").textContent = put("saved", { file });
  }
  byId("text").value = text;
  byId("copy").hidden = false;
  byId("copy").open = !canSave;
});
byId("copy-it").addEventListener("click", async () => {
  byId("text").select();
  try {
    await navigator.clipboard.writeText(byId("text").value);
  } catch {
    document.execCommand("copy");
  }
});

// what was typed before comes back
for (const control of document.querySelectorAll("[data-field]")) {
  const panel = control.closest("[data-id]"), task = control.closest("[data-task]")?.dataset.task, name = control.dataset.field;
  const of = panel ? state.steps[panel.dataset.id] ?? {} : state;
  if (name === "as_found") control.checked = state.as_found[task] === control.value;
  else if (name === "not_done") control.checked = state.not_done.includes(task);
  else if (control.type === "checkbox") control.checked = Boolean(of[name]);
  else if (control.type !== "radio") control.value = of[name] ?? "";
}
document.documentElement.classList.add("live");
byId("screen").hidden = false;
steps.forEach(draw);
drawAll();
tick();
show(state.view.at, state.view.mode, false);
setInterval(tick, 1000);
document.addEventListener("visibilitychange", tick);
