// Marks key moments and heels on a film that is opened in this browser and goes nowhere, or on one that the
// family sent and a coach has opened.
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  let root = parentElement.querySelector(".root");
  if (!root || root.dataset.student !== data.student) {
    if (root) root.remove();
    root = build(data, (marked) => setTriggerValue("marked", marked));
    parentElement.appendChild(root);
  }
  const sent = data.sent ? data.sent.film : "";
  if ((root.dataset.film || "") !== sent) {
    root.dataset.film = sent;
    root.openSent(data.sent);
  }
  const outcome = data.outcome;
  if (outcome && root.dataset.outcome !== outcome.id + outcome.text) {
    root.dataset.outcome = outcome.id + outcome.text;
    root.querySelector("[role=status]").textContent = outcome.text;
  }
}

function field(title, input) {
  return make("label", { class: "field" }, make("span", {}, title), input);
}

function choice(options, chosen) {
  const box = make("select", {});
  for (const [code, label] of options) box.append(make("option", { value: code }, label));
  box.value = chosen;
  return box;
}

const MEASURED = 25;
const POINTS = ["lead_heel", "lead_toe", "trail_heel", "trail_toe"];
const ENLARGED = 4; // what a finger points at is then a picture's dot or two wide

// How many pictures a second a film plays, from two dozen of its pictures; 30 where the browser does not say.
function picturesASecond(film) {
  if (!film.requestVideoFrameCallback) return Promise.resolve(30);
  return new Promise((resolve) => {
    const times = [];
    const done = () => {
      clearTimeout(waiting);
      film.removeEventListener("ended", done);
      film.pause();
      film.playbackRate = 1;
      const gaps = times.slice(1).map((t, k) => t - times[k]).filter((gap) => gap > 0);
      const usual = [...gaps].sort((a, b) => a - b)[gaps.length >> 1];
      const pictures = gaps.reduce((sum, gap) => sum + Math.round(gap / usual), 0); // with those left out
      resolve(gaps.length > 2 ? pictures / gaps.reduce((sum, gap) => sum + gap, 0) : 30);
    };
    const note = (_now, picture) => {
      times.push(picture.mediaTime);
      if (times.length < MEASURED) film.requestVideoFrameCallback(note);
      else done();
    };
    film.requestVideoFrameCallback(note);
    film.playbackRate = 0.25; // slow enough that no picture is left out
    const waiting = setTimeout(done, 3000);
    film.addEventListener("ended", done);
    film.play().catch(done);
  });
}

function build(data, send) {
  const w = data.words;
  const film = make("video", { muted: "", playsinline: "", preload: "auto" });
  film.muted = true;
  const canvas = make("canvas", { width: 960, height: 540, role: "img", "aria-label": w.tap });
  const paper = canvas.getContext("2d");
  const place = make("input", { type: "range", min: 0, max: 1, step: "any", value: 0, "aria-label": w.position });
  const zoom = make("input", { type: "range", min: 1, max: 8, step: 0.25, value: 1, "aria-label": w.zoom });
  const said = make("output", {});
  const file = make("input", { type: "file", accept: "video/*" });
  const rate = make("input", { type: "number", min: data.rates[0], max: data.rates[1], step: "any", value: 30, inputmode: "decimal" });
  const at = make("input", { type: "datetime-local" });
  const club = choice(data.clubs.map((name) => [name, name]), data.clubs[0]);
  const pace = choice(["full", "half", "slow"].map((code) => [code, w[code]]), "full");
  const status = make("p", { role: "status" });
  const view = choice(["down_line", "face_on"].map((code) => [code, w[code]]), "down_line");
  const shoe = make("input", { type: "number", min: data.shoes_mm[0], max: data.shoes_mm[1], step: "any", inputmode: "decimal" });
  const scale = make("p", { class: "quiet" });
  const state = { x: 0.5, y: 0.5, plays: 30, moments: {}, sent: "", aim: null };

  const step = () => 1 / state.plays;
  const frames = () => Math.floor(film.currentTime * state.plays + 1e-6);
  const real = (t) => (t * state.plays) / Number(rate.value || state.plays); // slow motion plays longer than it was
  function draw() {
    if (!film.videoWidth) return;
    canvas.height = Math.round((canvas.width * film.videoHeight) / film.videoWidth);
    const wide = film.videoWidth / zoom.value, tall = film.videoHeight / zoom.value;
    const left = Math.min(Math.max(state.x * film.videoWidth - wide / 2, 0), film.videoWidth - wide);
    const top = Math.min(Math.max(state.y * film.videoHeight - tall / 2, 0), film.videoHeight - tall);
    paper.drawImage(film, left, top, wide, tall, 0, 0, canvas.width, canvas.height);
    canvas.dataset.view = [left, top, wide, tall].join(" ");
    drawPoints(left, top, canvas.width / wide);
    said.textContent = w.frame.replace("{n}", frames()).replace("{t}", real(frames() * step()).toFixed(2));
    place.value = film.currentTime;
  }
  function drawPoints(left, top, size) {
    const held = Object.values(state.moments).find((one) => Math.round(one.t * state.plays) === frames());
    const colours = getComputedStyle(root);
    for (const [point, [x, y]] of Object.entries(held ? held.points : {})) {
      const [across, down] = [(x - left) * size, (y - top) * size];
      const cross = new Path2D(`M${across - 18} ${down}h36M${across} ${down - 18}v36`);
      for (const [width, name] of [[8, "--ground"], [3, state.aim && state.aim.point === point ? "--signal" : "--ink"]]) {
        paper.lineWidth = width;
        paper.strokeStyle = colours.getPropertyValue(name);
        paper.stroke(cross);
      }
    }
  }
  // A point is chosen: its moment's picture, enlarged where it is or was at another moment, else whole.
  function aimAt(code, point) {
    state.aim = { code, point };
    const held = state.moments[code];
    const known = held.points[point] || Object.values(state.moments).map((one) => one.points[point]).find(Boolean);
    zoom.value = known ? ENLARGED : 1;
    if (known) [state.x, state.y] = [known[0] / film.videoWidth, known[1] / film.videoHeight];
    seek(Math.round(held.t * state.plays));
    aimed();
  }
  function aimed() {
    const aim = state.aim, set = aim && state.moments[aim.code].points[aim.point];
    nudges.hidden = !set;
    const text = !aim ? w.tap : set ? w.placed : Number(zoom.value) < 3 ? w.near : w.exactly;
    asked.textContent = text.replace("{point}", aim ? w[aim.point] : "");
    draw();
  }
  function setPoint(x, y) {
    const held = state.moments[state.aim.code];
    if (Math.round(held.t * state.plays) !== frames()) { aimAt(state.aim.code, state.aim.point); return; }
    held.points[state.aim.point] = [Math.min(Math.max(x, 0), film.videoWidth), Math.min(Math.max(y, 0), film.videoHeight)];
    list.querySelector(`[data-moment=${state.aim.code}]`).show();
    aimed();
  }
  // The middle of a picture's time, so that rounding never shows its neighbour.
  const seek = (n) => { film.currentTime = Math.min(Math.max((n + 0.5) * step(), 0), film.duration || 0); };
  const steps = [[-10, w.back_more], [-1, w.back], [1, w.on], [10, w.on_more]].map(([n, label]) => {
    const button = make("button", { type: "button" }, label);
    button.addEventListener("click", () => seek(frames() + n));
    return button;
  });
  film.addEventListener("seeked", draw);
  film.addEventListener("loadeddata", async () => {
    state.plays = await picturesASecond(film);
    rate.value = Math.round(state.plays * 100) / 100;
    place.max = film.duration;
    studio.hidden = false;
    seek(0);
  });
  film.addEventListener("error", () => { status.textContent = w.unplayable; });
  place.addEventListener("input", () => seek(Math.floor(place.value * state.plays)));
  zoom.addEventListener("input", () => aimed());
  canvas.addEventListener("click", (event) => {
    const [left, top, wide, tall] = canvas.dataset.view.split(" ").map(Number);
    const box = canvas.getBoundingClientRect();
    const x = left + ((event.clientX - box.left) / box.width) * wide;
    const y = top + ((event.clientY - box.top) / box.height) * tall;
    if (state.aim && Number(zoom.value) >= 3) { setPoint(x, y); return; }
    [state.x, state.y] = [x / film.videoWidth, y / film.videoHeight];
    if (Number(zoom.value) < 3) zoom.value = state.aim ? ENLARGED : 3;
    aimed();
  });
  function open(chosen, when) {
    if (film.src) URL.revokeObjectURL(film.src);
    film.src = URL.createObjectURL(chosen);
    state.moments = {};
    state.aim = null;
    aimed();
    status.textContent = "";
    at.value = when;
    list.replaceChildren(...data.moments.map(([code, name]) => moment(code, name)));
  }
  file.addEventListener("change", () => {
    const [chosen] = file.files;
    if (!chosen) return;
    state.sent = "";
    const taken = new Date(chosen.lastModified - new Date().getTimezoneOffset() * 60000);
    open(chosen, taken.toISOString().slice(0, 16));
  });
  function openSent(sent) {
    state.sent = sent ? sent.film : "";
    if (!sent) { studio.hidden = true; film.removeAttribute("src"); return; }
    club.value = sent.club;
    const now = new Date(Date.now() - new Date().getTimezoneOffset() * 60000).toISOString().slice(0, 16);
    const noon = `${sent.day}T12:00`;
    open(decoded(sent.data, sent.kind), noon < now ? noon : now);
  }
  rate.addEventListener("change", draw);

  function moment(code, name) {
    const row = make("div", { class: "moment", "data-moment": code });
    const show = () => {
      const held = state.moments[code];
      if (!held) {
        const mark = make("button", { type: "button" }, w.mark.replace("{moment}", name));
        mark.addEventListener("click", () => {
          state.moments[code] = { t: frames() * step(), points: {} }; show();
        });
        row.replaceChildren(mark);
        return;
      }
      const go = make("button", { type: "button" }, w.go), drop = make("button", { type: "button" }, w.unmark);
      go.addEventListener("click", () => seek(Math.round(held.t * state.plays)));
      drop.addEventListener("click", () => {
        delete state.moments[code];
        if (state.aim && state.aim.code === code) state.aim = null;
        aimed();
        show();
      });
      const feet = ["lead", "trail"].map((foot) => {
        const group = make("fieldset", {}, make("legend", {}, w[`${foot}_heel`]));
        for (const heel of ["down", "up"]) {
          const tap = make("button", { type: "button", "aria-pressed": String(held[foot] === heel) }, w[heel]);
          tap.addEventListener("click", () => { held[foot] = held[foot] === heel ? undefined : heel; show(); });
          group.append(tap);
        }
        return group;
      });
      const text = w.marked.replace("{moment}", name).replace("{t}", real(held.t).toFixed(2));
      const tapped = Object.keys(held.points).length;
      const points = make("details", { class: "points" }, make("summary", {}, w.points + (tapped ? ` (${tapped})` : "")),
        make("div", { class: "row" }, ...POINTS.map((point) => {
          const tap = make("button", { type: "button", "aria-pressed": String(Boolean(held.points[point])) }, w[point]);
          tap.addEventListener("click", () => aimAt(code, point));
          return tap;
        })));
      points.open = row.contains(row.querySelector("details[open]")) || (state.aim || {}).code === code;
      row.replaceChildren(make("p", {}, text), make("div", { class: "row" }, ...feet, go, drop), points);
      measured();
    };
    row.show = show;
    show();
    return row;
  }

  const save = make("button", { type: "button", class: "main" }, w.save);
  const nudges = make("div", { class: "row", hidden: "" }, ...[["←", "left", -1, 0], ["→", "right", 1, 0], ["↑", "higher", 0, -1], ["↓", "lower", 0, 1]]
    .map(([arrow, name, x, y]) => {
      const button = make("button", { type: "button", "aria-label": w[name] }, arrow);
      button.addEventListener("click", () => {
        const [px, py] = state.moments[state.aim.code].points[state.aim.point];
        setPoint(px + x, py + y);
      });
      return button;
    }));
  const forget = make("button", { type: "button", "aria-label": w.forget }, w.unmark);
  forget.addEventListener("click", () => {
    delete state.moments[state.aim.code].points[state.aim.point];
    list.querySelector(`[data-moment=${state.aim.code}]`).show();
    aimed();
  });
  nudges.append(forget);
  const asked = make("p", { "aria-live": "polite", class: "asked" }, w.tap);
  const feetRight = make("input", { type: "checkbox" });
  const measures = make("div", { hidden: "" }, make("div", { class: "two" }, field(w.view, view), field(w.shoe, shoe)), scale,
    make("label", { class: "check" }, feetRight, make("span", {}, w.feet_right)));
  const anyPoint = () => Object.values(state.moments).some((one) => Object.keys(one.points).length);
  function measured() {
    measures.hidden = !anyPoint();
    const front = view.value === "face_on", foot = data.foot_mm, more = data.shoe_over_foot_mm;
    shoe.parentElement.hidden = front;
    shoe.placeholder = foot ? w.shoe_known.replace("{mm}", Math.round(foot + more)) : "";
    if (front) scale.textContent = w.end_on;
    else if (shoe.value) scale.textContent = "";
    else scale.textContent = foot ? w.by_foot.replace("{foot}", foot).replace("{more}", more) : w.no_scale;
  }
  view.addEventListener("change", measured);
  shoe.addEventListener("input", measured);
  const sees = make("input", { type: "checkbox", checked: "" });
  save.addEventListener("click", () => {
    const found = data.moments.filter(([code]) => state.moments[code]).map(([code]) => {
      const { t, lead, trail, points } = state.moments[code];
      return { event: code, t_s: real(t), lead, trail, points };
    });
    if (found.length < 2 || !(anyPoint() || found.some((m) => m.lead || m.trail))) { status.textContent = data.few; return; }
    const start = state.moments.address;
    if (anyPoint() && !(start && POINTS.every((point) => start.points[point]))) { status.textContent = data.four; return; }
    status.textContent = w.sending;
    send({ id: `${Date.now()}-${Math.random().toString(36).slice(2, 8)}`, moments: found, club: club.value, pace: pace.value,
      film: state.sent, at: at.value, offset: -new Date(at.value).getTimezoneOffset(), fault: sees.checked,
      rate: Number(rate.value), view: view.value, shoe_mm: view.value === "down_line" && shoe.value ? Number(shoe.value) : null,
      feet_checked: feetRight.checked });
  });
  const list = make("div", {});
  const studio = make("div", { hidden: "" },
    make("div", { class: "held" }, make("div", { class: "screen" }, canvas), film, place,
      make("div", { class: "row" }, ...steps, said), asked, nudges),
    field(w.zoom, zoom), make("p", { class: "quiet" }, w.points_help),
    list, measures,
    make("div", { class: "two" }, field(w.club, club), field(w.pace, pace), field(w.filmed_at, at), field(w.rate, rate)),
    make("label", { class: "check" }, sees, make("span", {}, w.fault)), save);
  const drawing = make("div", {});
  drawing.innerHTML = data.drawing; // our own, from camera.svg
  drawing.firstElementChild.setAttribute("aria-hidden", "true");
  const camera = make("details", {}, make("summary", {}, w.camera), drawing,
    make("ol", {}, ...data.camera.map((text) => make("li", {}, text))));
  const root = make("div", { class: "root" }, camera, field(w.choose, file), make("p", {}, w.private), studio, status);
  root.dataset.student = data.student;
  root.openSent = openSent;
  return root;
}
