// One slider for a film and for the load under both heels. The film's clock is the plate's less the offset.
// A film without times is shown by itself, with the browser's own slider.
const SVG = "http://www.w3.org/2000/svg";
const WIDTH = 440, HEIGHT = 262, MIDDLE = 154, LINE = 13, LETTER = 5.6;

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const shown = data.title + data.times.length + data.offset_s;
  const old = parentElement.querySelector(".root");
  if (old && old.dataset.title === shown) return undefined;
  if (old) old.remove();
  const keep = (offset_s) => setTriggerValue("kept", { offset_s });
  const { root, free } = data.times.length ? build(data, keep) : alone(data);
  root.dataset.title = shown;
  parentElement.appendChild(root);
  return free;
}

function draw(tag, attributes, text) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  if (text) made.textContent = text;
  return made;
}

function alone(data) {
  const url = URL.createObjectURL(decoded(data.film, data.kind));
  const film = make("video", { src: url, muted: "", playsinline: "", preload: "auto", controls: "", "aria-label": data.title });
  film.muted = true;
  const still = make("p", { class: "still" }, "");
  film.addEventListener("error", () => { still.textContent = data.words.unplayable; });
  const root = make("div", { class: "root" }, make("h3", {}, data.title), film, still);
  return { root, free: () => { film.pause(); URL.revokeObjectURL(url); } };
}

function build(data, keep) {
  const url = URL.createObjectURL(decoded(data.film, data.kind));
  const first = data.times[0], last = data.times[data.times.length - 1];
  const x = (t) => ((t - first) / (last - first)) * WIDTH;
  const most = Math.max(10, ...data.lead, ...data.trail);
  const film = make("video", { src: url, muted: "", playsinline: "", preload: "auto", "aria-label": data.title });
  film.muted = true;
  const slider = make("input", { type: "range", min: first, max: last, step: 0.005, value: first, "aria-label": data.words.time });
  const lanes = draw("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img", "aria-label": data.words.lanes });
  const lane = (values, sign) => data.times.map((t, k) => `${x(t).toFixed(1)},${(MIDDLE - (sign * values[k] * 88) / most).toFixed(1)}`).join(" ");
  const ends = [];
  for (const [name, t] of data.events) {
    lanes.append(draw("line", { x1: x(t), x2: x(t), y1: 0, y2: HEIGHT, class: "post" }, ""));
    const wide = name.length * LETTER + 8, left = Math.min(x(t) + 3, WIDTH - wide);
    let row = ends.findIndex((end) => end <= left);  // names that would run into one another stand below
    if (row < 0) row = ends.length;
    ends[row] = left + wide;
    lanes.append(draw("text", { x: left, y: 10 + row * LINE, class: "name" }, name));
  }
  lanes.append(draw("polyline", { points: lane(data.lead, 1), class: "lead" }), draw("polyline", { points: lane(data.trail, -1), class: "trail" }));
  lanes.append(draw("text", { x: 4, y: 62 }, `${data.words.lead} ↑`), draw("text", { x: 4, y: HEIGHT - 8 }, `${data.words.trail} ↓`));
  lanes.append(draw("line", { x1: 0, x2: WIDTH, y1: MIDDLE, y2: MIDDLE, class: "middle" }));
  const cursor = draw("line", { y1: 0, y2: HEIGHT, class: "cursor" });
  lanes.append(cursor);
  const said = make("p", { class: "said" });
  const play = make("button", { type: "button" }, data.words.play);
  const still = make("p", { class: "still" }, "");

  function place(t, moveFilm) {
    const k = Math.min(data.times.length - 1, Math.max(0, data.times.findIndex((time) => time >= t)));
    cursor.setAttribute("x1", x(t)); cursor.setAttribute("x2", x(t));
    said.textContent = data.words.reading.replace("{t}", t.toFixed(2)).replace("{lead}", Math.round(data.lead[k])).replace("{trail}", Math.round(data.trail[k]));
    slider.value = t;
    slider.setAttribute("aria-valuetext", said.textContent);
    if (moveFilm) film.currentTime = Math.max(0, t - offset);
  }
  let frame = 0, offset = data.offset_s;
  function follow() {
    place(Math.min(last, Math.max(first, film.currentTime + offset)), false);
    if (!film.paused) frame = requestAnimationFrame(follow);
  }
  slider.addEventListener("input", () => { film.pause(); place(Number(slider.value), true); });
  play.addEventListener("click", () => { if (film.paused) film.play().catch(() => {}); else film.pause(); });
  film.addEventListener("play", () => { play.textContent = data.words.pause; follow(); });
  film.addEventListener("pause", () => { play.textContent = data.words.play; });
  film.addEventListener("error", () => { still.textContent = data.words.unplayable_lanes; });
  film.addEventListener("loadedmetadata", () => place(Number(slider.value), true));
  function nudging() {
    const by = [-10, -1, 1, 10].map((pictures) => {
      const button = make("button", { type: "button" }, (pictures > 0 ? "+" : "−") + Math.abs(pictures));
      button.addEventListener("click", () => {  // plus: the film shows a later picture at the same load
        film.pause();
        offset -= pictures * data.picture_s;
        place(Number(slider.value), true);
      });
      return button;
    });
    const save = sender(make("button", { type: "button" }, data.words.keep), () => offset);
    const row = make("div", { class: "row", role: "group", "aria-label": data.words.nudge }, make("span", {}, data.words.nudge), ...by, save);
    if (data.impact_s !== undefined) row.append(sender(make("button", { type: "button" }, data.words.strike), () => data.impact_s - film.currentTime));
    return row;
  }
  function sender(button, place_s) {
    button.addEventListener("click", () => { button.disabled = true; button.append(` ${data.words.sending}`); keep(place_s()); });
    return button;
  }
  function choice() {
    const pictures = data.asked.map((place_s, k) => {
      const at = data.impact_s - place_s;
      const picture = make("video", { src: url, muted: "", playsinline: "", preload: "auto", "aria-hidden": "true" });
      picture.muted = true;
      picture.addEventListener("loadedmetadata", () => { picture.currentTime = Math.max(0, at); });
      const called = data.words.candidate.replace("{n}", k + 1).replace("{t}", at.toFixed(2));
      return sender(make("button", { type: "button", class: "candidate" }, picture, make("span", {}, called)), () => place_s);
    });
    return make("div", { role: "group", "aria-label": data.words.asked }, make("p", {}, make("strong", {}, data.words.asked)), make("div", { class: "candidates" }, ...pictures));
  }
  place(data.picture_s && data.impact_s !== undefined ? data.impact_s : first, false);
  const root = make("div", { class: "root" }, make("h3", {}, data.title), make("div", { class: "both" }, film, lanes),
    slider, make("div", { class: "row" }, play, said), still);
  if (data.picture_s) root.append(nudging());
  if (data.asked && data.asked.length) root.insertBefore(choice(), root.children[1]);
  return { root, free: () => { cancelAnimationFrame(frame); film.pause(); URL.revokeObjectURL(url); } };
}
