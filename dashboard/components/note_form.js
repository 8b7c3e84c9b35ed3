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

function make(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) made.setAttribute(name, value);
  for (const child of children) made.append(child);
  return made;
}

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
  const more = (name, options) => fold("Other faults", choices("Other faults", name, options));
  const saw = make("div", {}, choices("What you saw", "fault", data.faults.filter((f) => f[2])));
  if (data.faults.some((f) => !f[2])) saw.append(more("fault", data.faults.filter((f) => !f[2])));
  const words = make("label", { class: "field" }, make("span", {}, "Plan, in your words"),
    make("textarea", { name: "text", rows: "3", maxlength: "2000" }));
  const bandSelect = make("select", { name: "metric" }, make("option", { value: "" }, "No own band"));
  for (const [code, label] of data.metrics) bandSelect.append(make("option", { value: code }, label));
  const form = make("form", {},
    saw,
    choices("How strongly", "grade", [["1", "a little"], ["2", "clearly"], ["3", "strongly"]], { needed: true }),
    choices("Drill", "drill", data.drills),
    choices("Dose", "dose", data.doses.map((d) => [String(d), String(d)]), { needed: true }),
    choices("Counted in", "unit", [["reps", "times"], ["minutes", "minutes"]], { needed: true }),
    choices("Pace", "pace", [["slow", "slow"], ["half", "half"], ["full", "full"]], { needed: true }),
    choices("Where", "place", [["lesson", "in the lesson"], ["home", "at home"]], { needed: true }),
    words,
    make("label", { class: "check" }, make("input", { type: "checkbox", name: "shared" }),
      make("span", {}, "The student sees the drill and the plan")),
    fold("Something hurts, or no longer does", caution(data.cautions.hurts),
      choices("Where it hurts", "area", data.areas.map((a) => [a, a])),
      choices("Which side", "side", [["lead", "lead"], ["trail", "trail"], ["both", "both"]]),
      field("What the student says", "hurts", { type: "text", maxlength: "500", autocomplete: "off" }),
      ...(data.open.length ? [choices("No longer hurts", "over", data.open)] : [])),
    fold("Nudge check", caution(data.cautions.closed),
      choices("Nudged", "nudge", [["forward", "forward"], ["back", "back"], ["sideways", "sideways"]]),
      choices("Balance", "lost", [["0", "held"], ["1", "lost"]], { needed: true }),
      choices("Eyes", "eyes", [["open", "open"], ["closed", "closed"]], { needed: true })),
    fold("Home practice the student tells of",
      choices("Practised", "practised", data.drills),
      field("Minutes", "minutes", { type: "number", min: "1", max: "600", inputmode: "numeric" }),
      choices("At pace", "practice_pace", [["slow", "slow"], ["half", "half"], ["full", "full"]])),
    fold("A band of the student's own", make("label", { class: "field" }, make("span", {}, "Measure"), bandSelect),
      field("From", "lo", { type: "number", step: "any" }), field("To", "hi", { type: "number", step: "any" })),
    make("div", { class: "keep" }, make("button", { type: "submit" }, "Keep this note"),
      make("p", { role: "status" })));
  fill(form, { ...data.defaults, ...read(key).values });
  form.addEventListener("input", () => write(key, { values: values(form) }));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const draft = read(key);
    const note = draft.sent || {
      ...values(form), id: `${Date.now()}-${Math.random().toString(36).slice(2, 8)}`, at: new Date().toISOString(),
    };
    write(key, { values: values(form), sent: note });
    say(form, navigator.onLine ? "Sending…" : OFFLINE);
    send(note);
    clearTimeout(form.waiting);
    form.waiting = setTimeout(() => { if (read(key).sent) say(form, OFFLINE); }, 5000);
  });
  if (read(key).values) say(form, "Not kept yet. What you wrote stands on this device.");
  const root = make("div", { class: "root" }, form);
  root.dataset.key = key;
  return root;
}

const OFFLINE = "Not kept yet: no connection. What you wrote stays on this device; press again once you are connected.";

function say(form, sentence) {
  form.querySelector("[role=status]").textContent = sentence;
}

function values(form) {
  const found = Object.fromEntries(new FormData(form).entries());
  found.shared = form.elements.shared.checked;
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
    else input.value = value ?? "";
  }
  for (const folded of [...form.querySelectorAll("details")].reverse()) {
    folded.open = [...folded.querySelectorAll("input[type=radio]:checked, textarea, input[type=text]")]
      .some((input) => input.value && !["grade", "lost", "eyes"].includes(input.name));
  }
}

// What the server says of the note that was sent last.
function settle(root, data, key) {
  const form = root.querySelector("form");
  const sent = read(key).sent;
  if (!data.told || root.dataset.told === data.told.id + data.told.said) return;
  root.dataset.told = data.told.id + data.told.said;
  if (!sent && read(key).values) return; // something newer is being written
  if (sent && sent.id !== data.told.id) return;
  if (sent && data.told.kept) {
    localStorage.removeItem(key);
    fill(form, data.defaults);
  } else if (sent) {
    write(key, { values: read(key).values });
  }
  say(form, data.told.said);
}
