"use strict";
// The look-up panel: reads the embedded tables as CoefficientTable.mu does, by straight
// lines between the nodes and the hull of what was tested, and draws mu against slip speed.
(() => {
  const find = (id) => document.getElementById(`lookup-${id}`);
  const tables = JSON.parse(find("data").textContent);
  const [width, height, left, right, top, bottom] = [760, 340, 62, 12, 14, 46];
  const limits = ["mean_low", "mean_high", "next_pack_low", "next_pack_high"];
  const inputs = ["speed", "temperature", "pressure"].map(find);
  const words = ["slip speed", "plate temperature", "face pressure"];
  const units = ["m/s", "°C", "MPa"];
  const short = (x) => String(Number(x.toPrecision(3)));

  /** Name the first axis that a condition lies beyond, or 3 where it was not tested together. */
  function outside(table, place) {
    const beyond = table.axes.findIndex((nodes, i) => {
      const room = 1e-9 * Math.max(Math.abs(nodes[0]), Math.abs(nodes.at(-1)));
      return !(place[i] >= nodes[0] - room && place[i] <= nodes.at(-1) + room);
    });
    if (beyond >= 0) return beyond;
    const at = [Math.log(Math.max(place[0], 1e-6)), place[1], Math.log(place[2])];
    const within = table.normals.every((normal, k) =>
      normal.reduce((sum, n, i) => sum + n * at[i] / table.unit[i], 0) <= table.offsets[k] + 1 + 1e-9);
    return within ? -1 : 3;
  }

  /** Read a field at a condition by straight lines between the nodes; null where it has none. */
  function read(table, field, place) {
    let corners = [[0, 1]];
    table.axes.forEach((nodes, i) => {
      const x = Math.min(Math.max(place[i], nodes[0]), nodes.at(-1));
      const low = Math.max(0, Math.min(nodes.findLastIndex((node) => node <= x), nodes.length - 2));
      const share = nodes.length > 1 ? (x - nodes[low]) / (nodes[low + 1] - nodes[low]) : 0;
      const ends = share ? [[low, 1 - share], [low + 1, share]] : [[low, 1]];
      corners = corners.flatMap(([k, w]) => ends.map(([j, part]) => [k * nodes.length + j, w * part]));
    });
    const values = corners.map(([k, w]) => [table.fields[field][k], w]);
    return values.some(([value]) => value === null) ? null
      : values.reduce((sum, [value, w]) => sum + value * w, 0);
  }

  const shape = (name, attributes, text = "") => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", name);
    Object.entries(attributes).forEach(([key, value]) => node.setAttribute(key, value));
    node.textContent = text;
    return node;
  };

  /** Draw mu against slip speed at the temperature and pressure of `place`, and its own speed. */
  function draw(table, place) {
    const drawing = find("drawing");
    drawing.replaceChildren();
    const nodes = table.axes[0];
    const [first, last] = nodes.length > 1 ? [nodes[0], nodes.at(-1)] : [0.9 * nodes[0], 1.1 * nodes[0]];
    const log = first > 0 && last > 4 * first;
    const part = (v) => log ? Math.log(v / first) / Math.log(last / first) : (v - first) / (last - first);
    const even = Array.from({ length: 161 }, (_, i) =>
      log ? first * (last / first) ** (i / 160) : first + (last - first) * i / 160);
    const speeds = [...new Set([...even, ...nodes])].sort((a, b) => a - b);
    const points = speeds.map((v) => {
      const at = [v, place[1], place[2]];
      return { v, mu: read(table, "mu", at), inside: outside(table, at) < 0,
               ...Object.fromEntries(limits.map((name) => [name, read(table, name, at)])) };
    });
    const seen = points.flatMap((p) => [p.mu, ...limits.map((name) => p[name])]).filter((y) => y !== null);
    const [least, most] = [Math.min(...seen), Math.max(...seen)];
    const [low, high] = [least - 0.08 * (most - least || 0.1 * most), most + 0.08 * (most - least || 0.1 * most)];
    const x = (v) => left + part(v) * (width - left - right);
    const y = (mu) => top + (high - mu) / (high - low) * (height - top - bottom);
    const text = (at, down, words, anchor) => drawing.append(
      shape("text", { x: at, y: down, "text-anchor": anchor, fill: "var(--ink)" }, words));
    const line = (x1, y1, x2, y2, colour, wide) => drawing.append(
      shape("line", { x1, y1, x2, y2, stroke: `var(--${colour})`, "stroke-width": wide }));

    const step = [1, 2, 5, 10].map((m) => m * 10 ** Math.floor(Math.log10((high - low) / 5)))
      .find((s) => (high - low) / s <= 6);
    for (let k = Math.ceil(low / step); k * step <= high; k++) {
      line(left, y(k * step), width - right, y(k * step), "grid", 1);
      text(left - 6, y(k * step) + 4, (k * step).toFixed(Math.max(0, -Math.floor(Math.log10(step)))), "end");
    }
    const decades = Array.from({ length: 13 }, (_, i) => 10 ** (i - 8));
    const ticks = log ? decades.flatMap((d) => last / first > 300 ? [d] : [d, 2 * d, 5 * d])
      : [first, (first + last) / 2, last];
    ticks.filter((v) => v >= 0.999 * first && v <= 1.001 * last).forEach((v) => {
      line(x(v), top, x(v), height - bottom, "grid", 1);
      text(x(v), height - bottom + 18, short(v), "middle");
    });
    line(left, height - bottom, width - right, height - bottom, "muted", 1);
    text((left + width - right) / 2, height - 8, "Slip speed [m/s]", "middle");
    const side = shape("text", { transform: `translate(14 ${(top + height - bottom) / 2}) rotate(-90)`,
                                 "text-anchor": "middle", fill: "var(--ink)" }, "Friction coefficient");
    drawing.append(side);

    const path = (run, name) => run.map((p, i) => `${i ? "L" : "M"}${x(p.v).toFixed(2)} ${y(p[name]).toFixed(2)}`).join("");
    const stroke = (d, colour, wide, dash) => drawing.append(shape("path", {
      d, fill: "none", stroke: `var(--${colour})`, "stroke-width": wide, "stroke-dasharray": dash }));
    stroke(path(points, "mu"), "muted", 1.5, "5 4");
    for (let start = 0; start < points.length;) {
      let end = start;
      while (end < points.length && points[end].inside === points[start].inside) end++;
      const run = points.slice(start, end);
      if (run[0].inside) {
        const back = path([...run].reverse(), "mean_low").replace("M", "L");
        drawing.append(shape("path", { d: `${path(run, "mean_high")}${back}Z`, fill: "var(--blue)", opacity: 0.2 }));
        limits.slice(2).filter((name) => run.every((p) => p[name] !== null))
          .forEach((name) => stroke(path(run, name), "blue", 1.3, "1.5 3"));
        stroke(path(run, "mu"), "blue", 2.2, "none");
      }
      start = end;
    }
    const mu = outside(table, place) < 0 ? read(table, "mu", place) : null;
    if (mu !== null) drawing.append(shape("circle", {
      cx: x(place[0]), cy: y(mu), r: 5, fill: "var(--paper)", stroke: "var(--ink)", "stroke-width": 2 }));
  }

  /** Say in words what the table gives at `place`, or why it gives nothing. */
  function tell(table, place) {
    const readout = find("readout");
    const empty = place.findIndex((value) => !Number.isFinite(value));
    if (empty >= 0) return readout.replaceChildren(`Type a number for the ${words[empty]}.`);
    const why = outside(table, place);
    const named = place.map((value, i) => `${short(value)} ${units[i]}`).join(", ");
    if (why === 3) return readout.replaceChildren(
      `No value: ${named} lies within the tested ranges, but they were not tested together.`);
    if (why >= 0) return readout.replaceChildren(
      `No value: ${words[why]} ${short(place[why])} ${units[why]} is outside what was tested, ` +
      `${short(table.axes[why][0])} to ${short(table.axes[why].at(-1))} ${units[why]}.`);
    const [mu, low, high, nextLow, nextHigh] = ["mu", ...limits].map((name) => read(table, name, place));
    const number = document.createElement("data");
    number.value = String(mu);
    number.textContent = mu.toFixed(4);
    const next = nextLow === null ? "One more pack: not known, because only one pack was tested."
      : `One more pack: ${nextLow.toFixed(4)} to ${nextHigh.toFixed(4)}.`;
    readout.replaceChildren(`${table.name} at ${named}: `, number,
      `. Mean of all packs: ${low.toFixed(4)} to ${high.toFixed(4)}. ${next} Both are 95 % intervals.`);
  }

  function show() {
    const table = tables[find("table").selectedIndex];
    const place = inputs.map((input) => input.value.trim() === "" ? NaN : Number(input.value));
    inputs.forEach((input, i) => {
      const nodes = table.axes[i];
      find(`${input.name}-range`).textContent = nodes.length > 1
        ? `tested ${short(nodes[0])} to ${short(nodes.at(-1))}` : `tested at ${short(nodes[0])} alone`;
    });
    const drawn = [1, 2].every((i) => Number.isFinite(place[i]) && ![1, 2].includes(outside(table, [table.axes[0][0], place[1], place[2]])));
    drawn ? draw(table, place) : find("drawing").replaceChildren();
    find("drawing").setAttribute("aria-label", drawn
      ? `Friction coefficient of ${table.name} against slip speed at ${short(place[1])} °C and ${short(place[2])} MPa.`
      : "Nothing drawn: this temperature or pressure was not tested.");
    tell(table, place);
  }

  /** Take the condition of an address such as #lookup=steel (new),0.1,80,1.5; else the reference. */
  function start() {
    const asked = decodeURIComponent(location.hash).match(/^#lookup=(.*),([^,]*),([^,]*),([^,]*)$/);
    const chosen = asked ? tables.findIndex((table) => table.name === asked[1]) : 0;
    find("table").selectedIndex = Math.max(chosen, 0);
    const place = asked ? asked.slice(2) : tables[0].reference;
    inputs.forEach((input, i) => { input.value = place[i]; });
    show();
    if (asked) find("form").scrollIntoView();
  }

  find("form").hidden = false;
  find("form").addEventListener("input", show);
  find("form").addEventListener("submit", (event) => event.preventDefault());
  window.addEventListener("hashchange", start);
  start();
})();
