(paper) => {
  // Looks a page over; gives what is wrong with it, as sentences.
  const wrong = [];
  const shown = (e) => e.checkVisibility() && e.getClientRects().length > 0;
  const once = (work) => {
    const known = new Map();
    return (e) => known.has(e) ? known.get(e) : known.set(e, work(e)).get(e);
  };
  const words = (t) => JSON.stringify(t.trim().replace(/\s+/g, " ").slice(0, 50));

  // Nothing that runs, nothing styled but by the page's own style.
  if (document.scripts.length) wrong.push("there is a script");
  for (const e of document.querySelectorAll("*"))
    for (const a of e.attributes)
      if (a.name === "style" || a.name.startsWith("on") || (a.name === "href" && e.tagName !== "A"))
        wrong.push(`${e.tagName} has the attribute ${a.name}`);
  if (!document.querySelector('meta[http-equiv="Content-Security-Policy"]'))
    wrong.push("there is no content security policy");

  // Names and headings.
  if (!document.documentElement.lang) wrong.push("no language is named");
  if (!document.title) wrong.push("no title");
  const ids = [...document.querySelectorAll("[id]")].map((e) => e.id);
  for (const id of ids) if (ids.indexOf(id) !== ids.lastIndexOf(id)) wrong.push(`two have the id ${id}`);
  for (const e of document.querySelectorAll("[aria-labelledby]"))
    for (const id of e.getAttribute("aria-labelledby").split(" "))
      if (!document.getElementById(id)) wrong.push(`no label ${id}`);
  for (const e of document.querySelectorAll("*"))
    for (const a of e.attributes) {
      const m = /url\(#([^)]+)\)/.exec(a.value);
      if (m && !document.getElementById(m[1])) wrong.push(`no texture ${m[1]}`);
    }
  const levels = [...document.querySelectorAll("h1,h2,h3,h4")].map((e) => +e.tagName[1]);
  if (levels.filter((l) => l === 1).length !== 1) wrong.push("not one h1");
  levels.forEach((l, i) => { if (i && l > levels[i - 1] + 1) wrong.push(`h${l} after h${levels[i - 1]}`); });
  if (document.querySelectorAll("main").length !== 1) wrong.push("not one main");

  // Tables and pictures say what they are.
  for (const t of document.querySelectorAll("table")) {
    if (!t.caption || !t.caption.textContent.trim()) wrong.push("a table without a caption");
    for (const h of t.querySelectorAll("th")) if (!h.scope) wrong.push(`no scope: ${words(h.textContent)}`);
    if (!t.tHead) wrong.push("a table without headings");
  }
  for (const s of document.querySelectorAll("svg")) {
    if (s.getAttribute("aria-hidden") === "true" || s.parentElement.closest("svg")) continue;
    const label = s.getAttribute("aria-label") || s.getAttribute("aria-labelledby");
    if (s.getAttribute("role") !== "img" || !label) wrong.push("a picture without words");
  }

  // Every text: where it lies, and whether it can be read.
  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, e = node.parentElement;
    if (!node.data.trim() || e.closest("title,desc,style,defs") || !shown(e)) continue;
    const svg = e.closest("svg");
    if (svg) {
      const r = e.getBoundingClientRect(), trim = r.height * 0.2;
      texts.push({ e, svg, text: node.data, l: r.left, r: r.right, t: r.top + trim, b: r.bottom - trim });
      continue;
    }
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const r of range.getClientRects()) {
      const trim = r.height * 0.12;
      if (r.width > 0) texts.push({ e, svg, text: node.data, l: r.left, r: r.right, t: r.top + trim, b: r.bottom - trim });
    }
  }
  const wide = document.documentElement.clientWidth;
  const cuts = once((e) => getComputedStyle(e).overflowX !== "visible");
  if (document.documentElement.scrollWidth > wide + 1) wrong.push("wider than the screen");
  for (const x of texts) {
    if (x.l < -1 || x.r > wide + 1) wrong.push(`cut at the side: ${words(x.text)}`);
    for (let e = x.svg || x.e; e; e = e.parentElement) {
      if (!cuts(e)) continue;
      const r = e.getBoundingClientRect();
      if (x.l < r.left - 1 || x.r > r.right + 1 || x.t < r.top - 1 || x.b > r.bottom + 1)
        wrong.push(`cut: ${words(x.text)} in ${e.tagName}.${e.getAttribute("class")}`);
    }
  }
  texts.sort((a, b) => a.t - b.t);
  for (let i = 0; i < texts.length; i++)
    for (let j = i + 1; j < texts.length && texts[j].t < texts[i].b; j++) {
      const a = texts[i], b = texts[j];
      if (a.e === b.e) continue;
      if (Math.min(a.r, b.r) - Math.max(a.l, b.l) > 1.5 && Math.min(a.b, b.b) - Math.max(a.t, b.t) > 1.5)
        wrong.push(`on each other: ${words(a.text)} and ${words(b.text)}`);
    }

  // Contrast, by the formulas of WCAG 2.2 (relative luminance; 4.5 : 1 for text).
  const rgb = (c) => (c.match(/[\d.]+/g) || []).map(Number);
  const light = (c) => {
    const [r, g, b] = c.slice(0, 3).map((v) => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const behind = once((e) => {
    if (!e) return [255, 255, 255];
    const c = rgb(getComputedStyle(e).backgroundColor);
    return c.length === 3 || c[3] > 0.99 ? c : behind(e.parentElement);
  });
  const seen = new Set();
  for (const x of texts) {
    const style = getComputedStyle(x.e);
    const ink = rgb(x.svg ? style.fill : style.color), under = behind(x.e);
    const key = ink + "/" + under;
    if (seen.has(key)) continue;
    seen.add(key);
    const [a, b] = [light(ink), light(under)].sort((p, q) => q - p);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < 4.5) wrong.push(`contrast ${ratio.toFixed(2)}: ${words(x.text)}`);
  }
  for (const x of texts) {
    const size = parseFloat(getComputedStyle(x.e).fontSize) * (x.svg ? x.e.getCTM().a : 1);
    if (!paper && size < 9) wrong.push(`too small (${size.toFixed(1)}): ${words(x.text)}`);
  }
  return [...new Set(wrong)];
}
