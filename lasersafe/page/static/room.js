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

  // What is shown: parts that are not proven yet stay dark, and are told from those that are.
  const show = (answer) => {
    const parts = [];
    if (answer.open) parts.push(drawn("path", { d: answer.open, fill: "url(#open)" }));
    if (answer.tones) {
      parts.push(drawn("path", { d: answer.tones.eyewear, fill: "url(#dots)", "fill-rule": "evenodd" }));
      parts.push(drawn("path", { d: answer.tones.nobody, fill: "url(#hatch)", "fill-rule": "evenodd" }));
      parts.push(drawn("path", { d: answer.lines.guests, fill: "none", stroke: "#20262b", "stroke-width": stroke * 0.3 }));
      parts.push(drawn("path", { d: answer.lines.crew, fill: "none", stroke: "#20262b", "stroke-width": stroke * 0.22, "stroke-dasharray": `${stroke * 0.8} ${stroke * 0.4}` }));
    }
    tones.replaceChildren(...parts);
    for (const person of plan.querySelectorAll(".person")) {
      if (answer.open_people) person.classList.toggle("above", answer.open_people.includes(person.id.split(".")[0]));
    }
    plan.dataset.state = answer.proven ? "proven" : "open";
  };

  // At most one request of each kind is on its way; the newest form is sent when it is back.
  let asked = 0;
  const asking = (path, then) => {
    let busy = false, again = false;
    const ask = async () => {
      if (busy) { again = true; return; }
      busy = true;
      const number = asked;
      try {
        const answer = await fetch(path, { method: "POST", body: new URLSearchParams(new FormData(form)) });
        if (answer.ok) then(await answer.json(), number);
        else panel.textContent = panel.dataset.lost || "";
      } catch {
        plan.dataset.state = "open";
      }
      busy = false;
      if (again) { again = false; ask(); }
    };
    return ask;
  };
  const coarse = asking("/room/coarse", (answer, number) => {
    if (number === asked && plan.dataset.state !== "proven") { show(answer); plan.dataset.coarse = String(number); }
  });
  const full = asking("/room/live", (answer, number) => {
    if (number !== asked) return;
    panel.innerHTML = answer.html;  // made by this server from escaped texts
    panel.classList.remove("old");
    show(answer);
    plan.dataset.full = String(number);
  });
  const changed = () => {
    asked += 1;
    plan.dataset.asked = String(asked);
    plan.dataset.state = "asked";
    panel.classList.add("old");
    coarse();
    full();
  };

  // Things are moved by their handles; the fields of the form hold where they are.
  const rounded = (value, most) => String(Math.round(Math.min(Math.max(value, 0), most) * 100) / 100);
  const put = (handle) => {
    const x = Number(field(handle.dataset.x).value.replace(",", ".")) * unit;
    const y = (deep - Number(field(handle.dataset.y).value.replace(",", "."))) * unit;
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
    put(handle);
    changed();
  };
  const place = (handle) => [Number(field(handle.dataset.x).value.replace(",", ".")), Number(field(handle.dataset.y).value.replace(",", "."))];
  const seen = (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(plan.getScreenCTM().inverse());
    return [point.x / unit, deep - point.y / unit];
  };
  const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  for (const handle of plan.querySelectorAll(".handle")) {
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
    for (const handle of plan.querySelectorAll(".handle")) {
      if (handle.dataset.x === event.target.id || handle.dataset.y === event.target.id) put(handle);
    }
    changed();
  });
  plan.dataset.state = tones.querySelector("path") ? "proven" : "open";
  if (plan.dataset.state === "open") changed();
})();
