for (const figure of document.querySelectorAll(".replay:not(.is-live)")) {
  const data = JSON.parse(figure.querySelector("script[type='application/json']").textContent);
  const part = name => figure.querySelector(`[data-do="${name}"], [data-is="${name}"]`);
  const [play, next, speed, slider, clock, told, heard] =
    ["play", "next", "speed", "time", "clock", "told", "heard"].map(part);
  const less = matchMedia("(prefers-reduced-motion: reduce)");
  const days = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
  const shownEvents = 4, eps = 1e-6;
  let now = 0, playing = false, before = 0, waited = 0, saying = 0;

  // --- what is drawn ---

  const drawn = (name, numbers, parent) => {
    const shape = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(numbers)) shape.setAttribute(key, value);
    return parent.appendChild(shape);
  };

  function thingOf({kind, name, area, number, size, words, edge, steps}) {
    const onBox = data.onBoxes.kinds.includes(kind);
    const group = drawn("g", {
      class: "replay-moves", "data-kind": kind, "data-name": name, "data-area": area, "data-number": number,
    }, figure.querySelector("[data-moving]"));
    const title = drawn("title", {}, group);
    const shape = drawn("rect", {
      width: size[0], height: size[1], fill: "none", stroke: edge[0], "stroke-width": edge[1],
    }, group);
    const corner = kind === "truck" ? drawn("path", {class: "waits", fill: "#1c2430", d: data.onBoxes.corner}, group) : null;
    const ground = onBox ? drawn("rect", {
      fill: "#fff", "fill-opacity": 0.9, y: (size[1] - data.onBoxes.height) / 2, height: data.onBoxes.height,
    }, group) : null;
    const at = onBox ? [size[0] / 2, data.onBoxes.base] : words || [0, 0];
    const look = onBox ? {"font-weight": "bold", "text-anchor": "middle"} : {};
    const text = drawn("text", {x: at[0], y: at[1], ...look}, group);
    return {kind, number, size, steps, group, title, shape, corner, ground, text, step: -1};
  }

  function put(thing, step) {
    if (thing.step === step) return;
    thing.step = step;
    const [, look, point, said] = thing.steps[step];
    const [state, fill, waits] = data.looks[look], words = data.words[said];
    thing.group.dataset.state = state;
    thing.group.setAttribute("visibility", point < 0 ? "hidden" : "visible");
    if (point < 0) return;
    const [x, y] = data.points[point];
    thing.group.style.transform = `translate(${x}px, ${y}px)`;
    if (fill) thing.shape.setAttribute("fill", fill);
    thing.corner?.setAttribute("display", waits ? "inline" : "none");
    thing.text.textContent = words;
    thing.title.textContent = thing.ground ? `${thing.kind} ${words}: ${state}` : words || `${thing.kind}: ${state}`;
    if (thing.ground) {
      const wide = data.onBoxes.digit * words.length + 4;
      thing.ground.setAttribute("x", (thing.size[0] - wide) / 2);
      thing.ground.setAttribute("width", wide);
    }
  }

  function last(rows, time) {
    let low = 0, high = rows.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (rows[middle][0] <= time + eps) low = middle + 1; else high = middle;
    }
    return low - 1;
  }

  // --- time ---

  const two = number => String(number).padStart(2, "0");

  function clockText(minutes) {
    const seconds = Math.floor(60 * (data.from + minutes) + 0.5);
    const day = days[Math.floor(seconds / 86400) % 7];
    return `${day} ${two(Math.floor(seconds / 3600) % 24)}:${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}`;
  }

  function tell() {
    const end = last(data.events, now);
    const rows = data.events.slice(Math.max(0, end + 1 - shownEvents), end + 1).reverse();
    if (told.dataset.last === String(end)) return;
    told.dataset.last = end;
    told.replaceChildren(...rows.map(([time, sentence]) => {
      const line = document.createElement("li");
      line.textContent = `${clockText(time)}  ${sentence}`;
      return line;
    }));
  }

  function show(time) {
    now = Math.min(data.length, Math.max(0, time));
    for (const thing of things) put(thing, Math.max(0, last(thing.steps, now)));
    clock.textContent = clockText(now);
    slider.value = now;
    tell();
  }

  // Heard is only where somebody has stopped: not every second of what plays.
  function say() {
    slider.setAttribute("aria-valuetext", clockText(now));
    clearTimeout(saying);
    saying = setTimeout(() => {
      const waiting = things.filter(thing => thing.kind === "queue").map(thing => thing.text.textContent);
      heard.textContent = `${clockText(now)}. ${waiting.join(". ")}.`;
    }, 500);
  }

  function run(goes) {
    playing = goes;
    play.textContent = goes ? "Pause" : "Play";
    if (!goes) return say();
    if (now >= data.length - eps) show(0);
    before = performance.now();
    waited = 0;
    requestAnimationFrame(frame);
  }

  function frame(at) {
    if (!playing) return;
    const gone = Math.min(1, Math.max(0, at - before) / 1000) * Number(speed.value);
    before = at;
    waited += gone;
    const jump = less.matches ? Math.floor(waited) : waited;  // whole minutes where less motion is wanted
    if (jump > 0) {
      waited -= jump;
      show(now + jump);
    }
    if (now >= data.length - eps) run(false); else requestAnimationFrame(frame);
  }

  function go(time) {
    if (playing) run(false);
    show(time);
    say();
  }

  function toNext() {
    const event = data.events.find(([time]) => time > now + eps);
    go(event ? event[0] : data.length);
  }

  const keys = {
    " ": () => run(!playing), ArrowLeft: () => go(now - 1), ArrowRight: () => go(now + 1),
    Home: () => go(0), End: () => go(data.length),
  };

  figure.addEventListener("keydown", event => {
    const own = event.target.localName;
    if (own === "select" || (own === "button" && event.key === " ") || event.ctrlKey || event.altKey || event.metaKey) return;
    if (!(event.key in keys)) return;
    event.preventDefault();
    keys[event.key]();
  });
  play.addEventListener("click", () => run(!playing));
  next.addEventListener("click", toNext);
  slider.addEventListener("input", () => go(Number(slider.value)));

  figure.classList.add("is-live");
  const things = data.things.map(thingOf);
  show(0);
  if ("plays" in figure.dataset && !less.matches) run(true);
}
