// The note form. Every choice and word is kept in this browser until the server says that the note is kept:
// no connection is needed to fill it in, and nothing is lost when the page is opened anew.
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const key = `underfoot-note-${data.author}-${data.student}`;
  let root = parentElement.querySelector(".root");
  if (!root || root.dataset.key !== key) {
    if (root) root.remove();
    root = build(data, key, (note) => setTriggerValue("note", note));
    parentElement.appendChild(root);
  }
  settle(root, data, key);
}

const AGAIN_MS = 5000;

function read(key) {
  try { return JSON.parse(localStorage.getItem(key)) || {}; } catch { return {}; }
}

function write(key, draft) {
  try { localStorage.setItem(key, JSON.stringify(draft)); } catch { /* a full or closed store: the form still works */ }
}

// A row of choices; a chosen one that may stay empty is let go by a second tap.
function choices(title, name, options, { needed = false } = {}) {
  const box = make("fieldset", {}, make("legend", {}, title));
  const row = make("div", { class: "row" });
  for (const [code, label] of options) {
    const input = make("input", { type: "radio", name, value: code });
    const pill = make("label", { class: "pill" }, input, make("span", {}, label));
    if (!needed) input.addEventListener("click", () => {
      const held = input.form.held;
      if (held[name] !== code) { held[name] = code; return; }
      delete held[name];
      input.checked = false;
      input.dispatchEvent(new Event("input", { bubbles: true }));
    });
    row.append(pill);
  }
  box.append(row);
  return box;
}

function fold(title, ...children) {
  return make("details", {}, make("summary", {}, title), ...children);
}

function field(title, name, attributes) {
  return make("label", { class: "field" }, make("span", {}, title), make("input", { name, ...attributes }));
}

function caution(text) {
  return make("p", { class: "caution" }, text);
}

function build(data, key, send) {
  const w = data.words;
  const named = (...codes) => codes.map((code) => [code, w[code]]);
  const more = (name, options) => fold(w.other_faults, choices(w.other_faults, name, options));
  const saw = make("div", {}, choices(w.saw, "fault", data.faults.filter((f) => f[2])));
  if (data.faults.some((f) => !f[2])) saw.append(more("fault", data.faults.filter((f) => !f[2])));
  const words = make("label", { class: "field" }, make("span", {}, w.plan),
    make("textarea", { name: "text", rows: "3", maxlength: "2000" }));
  const bandSelect = make("select", { name: "metric" }, make("option", { value: "" }, w.no_band));
  for (const [code, label] of data.metrics) bandSelect.append(make("option", { value: code }, label));
  const drillSelect = make("select", { name: "felt_drill" }, make("option", { value: "" }, w.no_drill));
  for (const [code, label] of data.drills) drillSelect.append(make("option", { value: code }, label));
  const overrule = make("label", { class: "check" }, make("input", { type: "checkbox", name: "overrule" }),
    make("span", {}, w.overrule));
  const swings = data.full_swings_left === null ? [] : [
    caution(data.cautions.swings),
    make("p", { class: "caution", role: "alert", id: "too-many" }, data.cautions.too_many),
  ];
  const falls = fold(w.falls, caution(data.cautions.falls), choices(w.fell, "fell", [["0", w.no], ["1", w.yes]]));
  const form = make("form", {},
    saw, fold(w.signs, choices(w.sign, "sign", data.signs)),
    choices(w.grade, "grade", [["0", w.not_there], ["1", w.little], ["2", w.clear], ["3", w.strong]], { needed: true }),
    choices(w.drill, "drill", data.drills),
    choices(w.dose, "dose", data.doses.map((d) => [String(d), String(d)]), { needed: true }),
    choices(w.unit, "unit", named("reps", "minutes"), { needed: true }),
    choices(w.pace, "pace", named("slow", "half", "full"), { needed: true }),
    choices(w.place, "place", named("lesson", "home"), { needed: true }),
    ...swings,
    words,
    make("label", { class: "check" }, make("input", { type: "checkbox", name: "shared" }), make("span", {}, w.shared)),
    fold(w.hurts, caution(data.cautions.hurts),
      choices(w.area, "area", data.areas),
      choices(w.side, "side", named("lead", "trail", "both")),
      field(w.hurts_words, "hurts", { type: "text", maxlength: "500", autocomplete: "off" }),
      ...(data.open.length ? [choices(w.over, "over", data.open)] : [])),
    falls,
    fold(w.nudge_check, caution(data.cautions.closed),
      ...(data.cautions.not_closed ? [caution(data.cautions.not_closed)] : []),
      make("p", {}, w.nudge_steps),
      choices(w.eyes, "eyes", data.may_close_after_no ? named("closed", "open") : named("open"), { needed: true }),
      ...["forward", "back", "toward", "away"].map((way) =>
        choices(w[way], `nudge_${way}`, [["held", w.held], ["lost", w.lost]])),
      choices(w.announced, "announced", [["0", w.no], ["1", w.yes]], { needed: true }),
      field(w.stood_by, "stood_by", { type: "text", maxlength: "100", autocomplete: "off" })),
    fold(w.felt,
      ...data.feelings.map(([code, question]) => choices(question, `felt_${code}`, [["1", w.yes], ["0", w.no]])),
      make("label", { class: "field" }, make("span", {}, w.felt_drill), drillSelect),
      ...data.felt_in.flatMap(([session, day]) => [
        make("input", { type: "hidden", name: "felt_session", value: session }),
        field(w.felt_swing.replace("{day}", day), "felt_swing", { type: "number", min: "0", inputmode: "numeric" }),
      ])),
    fold(w.practice,
      choices(w.practised, "practised", data.drills),
      field(w.minutes_done, "minutes", { type: "number", min: "1", max: "600", inputmode: "numeric" }),
      field(w.practice_reps, "practice_reps", { type: "number", min: "1", max: "10000", inputmode: "numeric" }),
      choices(w.practice_pace, "practice_pace", named("slow", "half", "full")),
      choices(w.practice_felt, "practice_felt", data.practice_felt)),
    fold(w.goal, field(w.goal_words, "goal_words", { type: "text", maxlength: "500", autocomplete: "off" }),
      choices(w.goal_nearest, "goal", data.goals)),
    fold(w.agreed_aim,
      ...[1, 2, 3, 4].map((number) => {
        const select = make("select", { name: `aim_${number}` },
          make("option", { value: "" }, number === 1 ? w.no_aim : w.aim_alone));
        for (const [code, label] of data.sided) select.append(make("option", { value: code }, label));
        return make("label", { class: "field" }, make("span", {}, number === 1 ? w.aim_measure : w.aim_with), select);
      }),
      field(w.aim_due, "aim_due", { type: "date" }),
      field(w.aim_size, "aim_size", { type: "number", min: "0", step: "any" }),
      make("p", { id: "forecast", class: "forecast" })),
    fold(w.own_band, make("label", { class: "field" }, make("span", {}, w.measure), bandSelect),
      field(w.from, "lo", { type: "number", step: "any" }), field(w.to, "hi", { type: "number", step: "any" })),
    ...(data.may_overrule ? [overrule] : []),
    make("div", { class: "keep" }, make("button", { type: "submit" }, w.keep),
      make("p", { role: "status" })));
  fill(form, { ...data.defaults, ...read(key).values });
  if (data.falls_due) falls.open = true;
  adapt(form, data);
  form.addEventListener("input", () => { adapt(form, data); write(key, { values: values(form) }); });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const draft = read(key);
    const note = draft.sent || {
      ...values(form), id: `${Date.now()}-${Math.random().toString(36).slice(2, 8)}`, at: new Date().toISOString(),
    };
    write(key, { values: values(form), sent: note });
    say(form, navigator.onLine ? w.sending : w.offline);
    send(note);
    clearTimeout(form.waiting);
    form.waiting = setTimeout(() => { if (read(key).sent) say(form, w.offline); }, 5000);
  });
  const left = read(key);
  if (left.values) say(form, left.sent ? w.offline : w.draft);
  // What could not be sent goes as soon as there is a connection; the server keeps the same note once.
  const again = () => {
    if (!form.isConnected) { clearInterval(form.again); removeEventListener("online", again); return; }
    const { sent } = read(key);
    if (sent && navigator.onLine) send(sent);
  };
  form.again = setInterval(again, AGAIN_MS);
  addEventListener("online", again);
  const root = make("div", { class: "root" }, form);
  root.dataset.key = key;
  return root;
}

// What would show of the aim by its due day, and when as much as is wanted would: of the weeks known beforehand,
// the most that fit until then.
function forecast(form, data) {
  const { sets, sizes, words, soon, never, decimal } = data.forecasts;
  const chosen = [1, 2, 3, 4].map((number) => form.elements[`aim_${number}`].value).filter(Boolean);
  const known = sets[[...chosen].sort().join(" ")];
  const weeks = (new Date(form.elements.aim_due.value) - new Date()) / (7 * 24 * 3600 * 1000);
  const said = form.querySelector("#forecast");
  said.textContent = "";
  if (!known || !(weeks > 0)) return;
  const [worthwhile, decimals, unit] = sizes[chosen[0]];
  const size = (changes) => (changes * worthwhile).toFixed(decimals).replace(".", decimal) + unit;
  const filled = (text, values) => text.replace(/{(\w+)}/g, (_, name) => values[name]);
  const fits = known.by.filter(([until]) => until <= weeks + 0.5);
  const [until, ...least] = fits[fits.length - 1] || known.by[0];
  const [usual, weekly, double] = least.map((one) => one === null ? known.none : size(one));
  const shows = words[chosen.length > 1 ? "several" : "one"];
  const first = least[0] === null ? known.none
    : filled(shows, { rhythm: known.rhythm, soon: soon[until], least: usual, weekly, double });
  const wanted = Number(form.elements.aim_size.value) / worthwhile || 1;
  const when = [1, 2, 3].map((way) => {
    const row = known.by.find((one) => one[way] !== null && one[way] <= wanted);
    return row ? soon[row[0]] : never;
  });
  said.textContent = `${first} ${filled(words.when, { size: size(wanted), usual: when[0], weekly: when[1], double: when[2] })}`;
}

// What the form offers and warns of, by what is filled in so far.
function adapt(form, data) {
  forecast(form, data);
  const picked = (name) => form.querySelector(`input[name=${name}]:checked`)?.value;
  if (data.full_swings_left !== null) {
    const set = picked("drill") && picked("pace") === "full" && picked("unit") === "reps" ? Number(picked("dose")) : 0;
    const done = picked("practice_pace") === "full" ? Number(form.elements.practice_reps.value) : 0;
    form.querySelector("#too-many").hidden = Math.max(set, done) <= data.full_swings_left;
  }
  // With eyes closed only where that may be done now, or once it is written here that there was no fall.
  const closed = form.querySelector("input[name=eyes][value=closed]");
  if (!closed || data.may_close) return;
  const allowed = picked("fell") === "0";
  closed.closest("label").hidden = !allowed;
  if (!allowed && closed.checked) form.elements.eyes.value = "open";
}

function say(form, sentence) {
  form.querySelector("[role=status]").textContent = sentence;
}

function values(form) {
  const found = Object.fromEntries(new FormData(form).entries());
  for (const name of ["shared", "overrule"]) {
    if (form.elements[name]) found[name] = form.elements[name].checked;
  }
  return found;
}

function fill(form, kept) {
  form.held = {};
  for (const input of form.querySelectorAll("input, textarea, select")) {
    const value = kept[input.name];
    if (input.type === "radio") {
      input.checked = value === input.value;
      if (input.checked) form.held[input.name] = value;
    }
    else if (input.type === "checkbox") input.checked = Boolean(value);
    else if (input.type === "hidden") continue;
    else input.value = value ?? "";
  }
  for (const folded of [...form.querySelectorAll("details")].reverse()) {
    folded.open = [...folded.querySelectorAll("input[type=radio]:checked, textarea, input[type=text]")]
      .some((input) => input.value && !["grade", "eyes", "announced"].includes(input.name));
  }
}

// What became of the note that was sent last, as the server says.
function settle(root, data, key) {
  const form = root.querySelector("form"), outcome = data.outcome;
  const sent = read(key).sent;
  if (!outcome || root.dataset.outcome === outcome.id + outcome.text) return;
  root.dataset.outcome = outcome.id + outcome.text;
  if (!sent && read(key).values) return; // something newer is being written
  if (sent && sent.id !== outcome.id) return;
  if (sent && outcome.kept) {
    localStorage.removeItem(key);
    fill(form, data.defaults);
  } else if (sent) {
    write(key, { values: read(key).values });
  }
  say(form, outcome.text);
}
