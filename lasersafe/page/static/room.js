// Dragging on the plan by mouse, touch and keyboard, and answers while it is done. Without this file, the numbers of
// the form and its button do the same.
(() => {
  "use strict";
  const form = document.getElementById("room");
  const plan = document.getElementById("plan");
  const tones = document.getElementById("tones");
  const panel = document.getElementById("answer");
  const wide = Number(plan.dataset.wide), deep = Number(plan.dataset.deep), unit = 100;
  const field = (id) => document.getElementById(id);
  const drawn = (name, attributes) => {
    const one = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
    return one;
  };
  const stroke = Number(plan.viewBox.baseVal.width) / 40;

  // What is shown: parts that are not proven yet stay dark, and are told from those that are. Without an answer, or with
  // one for a room of another size than the plan has, all is dark.
  const all = `M0 0H${wide * unit}V${deep * unit}H0Z`;
  const metres = (id) => parseFloat(field(id).value.replace(",", "."));
  const show = (answer) => {
    const parts = [], fits = metres("width") === wide && metres("depth") === deep;
    if (answer.tones && fits) {
      parts.push(drawn("path", { d: answer.tones.eyewear, fill: "url(#dots)", "fill-rule": "evenodd" }));
      parts.push(drawn("path", { d: answer.tones.nobody, fill: "url(#hatch)", "fill-rule": "evenodd" }));
      parts.push(drawn("path", { d: answer.lines.guests, fill: "none", stroke: "#20262b", "stroke-width": stroke * 0.3 }));
      parts.push(drawn("path", { d: answer.lines.crew, fill: "none", stroke: "#20262b", "stroke-width": stroke * 0.22, "stroke-dasharray": `${stroke * 0.8} ${stroke * 0.4}` }));
    } else {
      const known = typeof answer.open === "string" && fits;
      parts.push(drawn("path", { d: known ? answer.open : all, fill: "url(#open)", "fill-rule": "evenodd" }));
    }
    tones.replaceChildren(...parts);
    for (const person of plan.querySelectorAll(".person")) {
      if (answer.open_people) person.classList.toggle("above", answer.open_people.includes(person.id.split(".")[0]));
    }
    plan.dataset.state = answer.proven ? "proven" : "open";
  };

  // Every change has a number. While light is moved, the plan shows the last place that was worked out, and a ring where
  // the thing goes; what takes too long leaves all dark, with everything at its new place.
  let asked = 0, light = 0, done = 0, late = false, busy = false, timer = 0, control = null;
  const send = async (path, signal) => {
    const answer = await fetch(path, { method: "POST", body: new URLSearchParams(new FormData(form)), signal });
    if (!answer.ok) throw new Error(String(answer.status));
    return answer.json();
  };
  const draw = (answer, places, number) => {
    show(answer);
    handles.forEach((handle, i) => put(handle, people(handle) ? place(handle) : places[i]));
    if (number >= light) { late = false; ghost.remove(); }
  };
  const dark = () => {
    late = true;
    show({});
    handles.forEach((handle) => put(handle, place(handle)));
    ghost.remove();
  };

  // The quick answer: one at a time, and always for the newest places.
  const live = async () => {
    if (busy) return;
    busy = true;
    try {
      while (done < light) {
        const number = asked, places = handles.map(place);
        const answer = await send("/room/coarse");
        if (done >= number) continue;  // the full answer was there before
        done = number;
        if (number >= light || !late) draw(answer, places, number);
        plan.dataset.coarse = String(number);
      }
    } catch {
      dark();
    }
    busy = false;
  };

  // The full answer: when nothing has moved for a moment; one that is out of date is given up, here and by the server.
  const full = async () => {
    const number = asked, places = handles.map(place);
    control = new AbortController();
    try {
      const answer = await send("/room/live", control.signal);
      if (number !== asked) return;
      done = number;
      panel.innerHTML = answer.html;  // made by this server from escaped texts
      panel.classList.remove("old");
      draw(answer, places, number);
      plan.dataset.full = String(number);
    } catch (error) {
      if (error.name === "AbortError") return;
      dark();
      panel.textContent = panel.dataset.lost;
    }
  };
  const changed = (kind) => {
    asked += 1;
    plan.dataset.asked = String(asked);
    plan.dataset.state = "asked";
    panel.classList.add("old");
    control?.abort();
    clearTimeout(timer);
    timer = setTimeout(full, 150);
    if (kind === "people") {  // light stays where it is, but what eyewear answers can change
      for (const part of tones.querySelectorAll('[fill="url(#dots)"]')) part.setAttribute("fill", "url(#open)");
      return;
    }
    light = asked;
    if (kind === "typed") dark();
    else setTimeout((number) => { if (done < number && !late) dark(); }, 400, asked);
    live();
  };

  // Things are moved by their handles; the fields of the form hold where they are.
  const handles = [...plan.querySelectorAll(".handle")];
  const people = (handle) => handle.matches(".person, .camera");
  const ghost = drawn("circle", { r: stroke, class: "ghost" });
  const rounded = (value, most) => String(Math.round(Math.min(Math.max(value, 0), most) * 100) / 100);
  const place = (handle) => [metres(handle.dataset.x), metres(handle.dataset.y)];
  const put = (handle, [right, up]) => {
    const x = right * unit, y = (deep - up) * unit;
    if (!Number.isFinite(x) || !Number.isFinite(y)) return;
    handle.setAttribute("transform", `translate(${x} ${y})`);
    const line = handle.dataset.line && document.getElementById(handle.dataset.line);
    if (line) {
      line.setAttribute(`x${handle.dataset.end}`, x);
      line.setAttribute(`y${handle.dataset.end}`, y);
    }
  };
  const move = (handle, x, y) => {
    field(handle.dataset.x).value = rounded(x, wide);
    field(handle.dataset.y).value = rounded(y, deep);
    if (people(handle) || late) put(handle, place(handle));
    else {
      ghost.setAttribute("cx", rounded(x, wide) * unit);
      ghost.setAttribute("cy", (deep - rounded(y, deep)) * unit);
      plan.append(ghost);
    }
    changed(people(handle) ? "people" : "light");
  };
  const seen = (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(plan.getScreenCTM().inverse());
    return [point.x / unit, deep - point.y / unit];
  };
  const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  for (const handle of handles) {
    let from = null;
    handle.addEventListener("pointerdown", (event) => {
      const [x, y] = place(handle), [px, py] = seen(event);
      from = [px - x, py - y];
      handle.setPointerCapture(event.pointerId);
      event.preventDefault();
      handle.focus();
    });
    handle.addEventListener("pointermove", (event) => {
      if (!from) return;
      const [x, y] = seen(event);
      move(handle, x - from[0], y - from[1]);
    });
    for (const end of ["pointerup", "pointercancel"]) handle.addEventListener(end, () => { from = null; });
    handle.addEventListener("keydown", (event) => {
      const step = steps[event.key];
      if (!step) return;
      const [x, y] = place(handle), far = event.shiftKey ? 0.5 : 0.1;
      move(handle, x + step[0] * far, y + step[1] * far);
      event.preventDefault();
    });
  }
  form.addEventListener("input", (event) => {
    if (event.target.id.endsWith(".name") && event.target.value.trim()) {
      for (const text of plan.querySelectorAll(`[id^="${event.target.id.slice(0, -4)}"] text`)) text.textContent = event.target.value.trim();
    }
    const moved = handles.find((handle) => handle.dataset.x === event.target.id || handle.dataset.y === event.target.id);
    if (moved && people(moved)) put(moved, place(moved));
    const same = (moved && people(moved)) || event.target.id === "title" || event.target.id.endsWith(".name");
    changed(same ? "people" : "typed");
  });
  plan.dataset.state = tones.querySelector("path") ? "proven" : "open";
  if (plan.dataset.state === "open") changed("typed");
})();
