// Puts the page together and keeps list, map and language in step.
import { byId, make, patternDefinitions, swatch } from "../map/elements.js";
import { CARDS } from "./cards.js";
import { PAST } from "./coding.js";
import { DistrictDrawing } from "./drawing.js";
import { lists, tabs } from "./lists.js";
import { district, hooks, lookName, number, shown, titleOf, told, visitText, word } from "./page.js";
import { tally } from "./order.js";

class DistrictPage {
  constructor() {
    document.body.prepend(patternDefinitions(told.style));
    this.map = L.map("district-map", { zoomControl: false, attributionControl: false, minZoom: 0, maxZoom: 20, zoomSnap: 0.25, zoomAnimation: false });
    L.control.scale({ position: "bottomleft", metric: told.units === "metric", imperial: told.units === "us", maxWidth: 130 }).addTo(this.map);
    hooks.choose = (thing) => this.choose(thing);
    hooks.list = (name) => this.show({ list: name }, "#tabs");
    hooks.order = (order) => this.show({ order }, "#lists .order");
    hooks.more = () => this.more();
    byId("cautions").querySelector("details").open = window.matchMedia("(min-width: 860px)").matches;
    this.drawing = new DistrictDrawing(this.map, (thing, { fromMap }) => this.choose(thing, fromMap));
    this.wire();
    this.speak();
    this.drawing.settle();
  }

  wire() {
    byId("zoom-in").addEventListener("click", () => this.map.zoomIn(1));
    byId("zoom-out").addEventListener("click", () => this.map.zoomOut(1));
    byId("whole").addEventListener("click", () => this.drawing.whole());
    byId("back").addEventListener("click", () => this.back());
    byId("print").addEventListener("click", () => window.print());
    byId("grow").addEventListener("click", () => this.grow(!document.body.classList.contains("tall")));
    byId("search").addEventListener("input", ({ target }) => this.search(target.value));
    byId("search").addEventListener("focus", () => this.grow(true));
    document.addEventListener("keydown", ({ key }) => { if (key === "Escape") this.back(); });
    new ResizeObserver(() => this.drawing.resized()).observe(byId("map-side"));
  }

  // Changes what is listed; what was pressed keeps the focus.
  show(change, group) {
    Object.assign(shown, change, { rows: 0 });
    this.fillLists();
    byId("panel-body").scrollTop = 0;
    document.querySelector(`${group} [aria-pressed=true]`)?.focus({ preventScroll: true });
  }

  more() {
    const before = document.querySelectorAll("#lists .row").length;
    shown.rows += 100;
    this.fillLists();
    document.querySelectorAll("#lists .row")[before]?.focus();
  }

  search(text) {
    Object.assign(shown, { query: text, rows: 0 });
    if (shown.chosen) this.back();
    this.fillLists();
    byId("panel-body").scrollTop = 0;
  }

  grow(tall) {
    document.body.classList.toggle("tall", tall);
    byId("grow").setAttribute("aria-expanded", String(tall));
    byId("grow").title = word(tall ? "page.bigger_map" : "page.bigger_list");
    byId("grow").querySelector("span").textContent = word(tall ? "page.map_short" : "page.list_short");
  }

  choose(thing, fromMap = false) {
    if (!shown.chosen) this.left = { scroll: byId("panel-body").scrollTop, at: document.activeElement };
    shown.chosen = thing;
    this.fillCard();
    this.grow(false);
    if (!fromMap) this.drawing.goTo(thing);
    this.drawing.mark(thing);
    byId("panel-body").scrollTop = 0;
    byId("card").querySelector("h2").focus({ preventScroll: true });
  }

  back() {
    if (!shown.chosen) return;
    shown.chosen = null;
    this.fillCard();
    this.drawing.mark(null);
    byId("panel-body").scrollTop = this.left.scroll;
    const at = this.left.at?.isConnected && this.left.at.offsetParent ? this.left.at : byId("panel-body");
    at.focus({ preventScroll: true });
  }

  fillCard() {
    const { chosen } = shown, card = byId("card");
    card.hidden = !chosen;
    document.body.classList.toggle("carded", Boolean(chosen));
    for (const id of ["lists", "search", "tabs"]) byId(id).hidden = Boolean(chosen);
    byId("back").hidden = !chosen;
    card.replaceChildren(...(chosen ? CARDS[chosen.kind](chosen).filter(Boolean) : []));
  }

  fillLists() {
    byId("tabs").replaceChildren(...tabs());
    byId("lists").replaceChildren(lists());
  }

  fillLegend() {
    const counts = tally(district.valves);
    const key = (code) => make("li", {}, swatch(lookName(code)), make("span", {}, make("b", { text: titleOf(code) }), make("small", { text: number(counts[code]) })));
    byId("legend-name").textContent = word("page.legend");
    byId("legend-body").replaceChildren(make("p", { class: "measure", text: word("page.counted") }), make("ul", { class: "keys" }, ...[PAST, 1, 2, 3, 4, 0].filter((code) => counts[code]).map(key)));
  }

  fillLanguages() {
    const names = Object.keys(told.words), group = byId("languages");
    group.hidden = names.length < 2;
    group.setAttribute("aria-label", word("page.language"));
    group.replaceChildren(...names.map((name) => make("button", {
      type: "button", lang: name, "aria-pressed": String(name === shown.language), title: told.words[name].locale.language,
      on: { click: () => { shown.language = name; this.speak(); group.querySelector(`[lang=${name}]`).focus(); } },
    }, name.toUpperCase(), make("span", { class: "unseen", text: ` ${told.words[name].locale.language}` }))));
  }

  lead() {
    const mapped = district.ranches.filter(({ visit }) => visit), failed = district.ranches.length - mapped.length;
    const newest = told.newest ? word("page.newest", { day: visitText([told.newest, told.newest]) }) : "";
    return [word("list.ranches_count", { count: district.ranches.length }), failed ? word("list.failed_count", { count: failed }) : "", newest].filter(Boolean).join(" · ");
  }

  // Writes every word of the page in the language shown.
  speak() {
    document.documentElement.lang = shown.language;
    document.title = word("page.title", { district: told.name });
    byId("visit").textContent = this.lead();
    const tell = (id, key) => { byId(id).setAttribute("aria-label", word(key)); byId(id).title = word(key); };
    tell("zoom-in", "page.zoom_in");
    tell("zoom-out", "page.zoom_out");
    tell("whole", "page.whole");
    byId("whole").querySelector("span").textContent = word("page.whole_short");
    byId("back").textContent = `‹ ${word("page.back")}`;
    byId("print").textContent = word("page.print");
    byId("north").querySelector("b").textContent = word("page.north");
    byId("search").placeholder = word("page.search");
    byId("tabs").setAttribute("aria-label", word("list.which"));
    document.querySelector("label[for=search]").textContent = word("page.search");
    const map = this.map.getContainer();
    map.setAttribute("aria-label", word("page.map_label"));
    map.setAttribute("role", "region");
    byId("panel").setAttribute("aria-label", word("page.panel"));
    byId("cautions").setAttribute("aria-label", word("caution.heading"));
    byId("cautions").querySelector("summary").textContent = word("caution.advice");
    byId("cautions").querySelector("p").textContent = [word("caution.stress"), word("caution.pumps"), word("caution.chamber"), word("caution.heat"), ...told.notes[shown.language]].join(" ");
    this.fillLanguages();
    this.fillLegend();
    this.fillLists();
    this.fillCard();
    this.grow(document.body.classList.contains("tall"));
  }
}

// The page once it has started, for whoever looks on from outside it.
export const page = new DistrictPage();
document.documentElement.dataset.ready = "true";
window.performance.mark("district-ready");
