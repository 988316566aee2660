// Puts the page together and keeps list, map and language in step.
import { CARDS } from "./cards.js";
import { byId, make, patternDefinitions } from "./elements.js";
import { turned } from "./geometry.js";
import { RanchDrawing } from "./layers.js";
import { fillCautions, legend, lists } from "./panel.js";
import { layerMark } from "./rows.js";
import { distance, hooks, lastRank, ranch, readingsBy, shown, spotWord, visitDays, word } from "./shared.js";

// The page once it has started, for whoever looks on from outside it.
export let page = null;

class RanchPage {
  constructor(map) {
    this.map = map;
    document.body.prepend(patternDefinitions(ranch.style));
    map.attributionControl?.setPrefix(false);
    L.control.scale({ position: "bottomleft", metric: ranch.units === "metric", imperial: ranch.units === "us", maxWidth: 130 }).addTo(map);
    hooks.choose = (chosen) => this.choose(chosen);
    hooks.colourBy = (name) => this.colourBy(name);
    hooks.orderBy = (name) => this.orderBy(name);
    this.drawing = new RanchDrawing(map, (chosen, how) => this.choose(chosen, how));
    byId("cautions").querySelector("details").open = window.matchMedia("(min-width: 860px)").matches;
    this.wire();
    this.speak();
    this.drawing.whole();
    this.drawing.show();
  }

  wire() {
    byId("zoom-in").addEventListener("click", () => this.map.zoomIn(1));
    byId("zoom-out").addEventListener("click", () => this.map.zoomOut(1));
    byId("whole").addEventListener("click", () => this.drawing.whole());
    byId("locate").addEventListener("click", () => this.locate());
    byId("back").addEventListener("click", () => this.back());
    byId("print").addEventListener("click", () => window.print());
    byId("grow").addEventListener("click", () => this.grow(!document.body.classList.contains("tall")));
    this.map.on("mousedown", () => { byId("layers").open = false; });
    byId("search").addEventListener("input", (event) => this.search(event.target.value));
    byId("search").addEventListener("focus", () => this.grow(true));
    document.addEventListener("keydown", (event) => {
      if (event.key !== "Escape") return;
      if (byId("layers").open) byId("layers").open = false;
      else this.back();
    });
    window.addEventListener("beforeprint", () => this.forPaper(true));
    window.addEventListener("afterprint", () => this.forPaper(false));
    new ResizeObserver(() => {
      const home = this.drawing.atHome();
      this.map.invalidateSize({ animate: false });
      if (home) this.drawing.whole();
    }).observe(byId("map-side"));
  }

  forPaper(on) {
    for (const box of document.querySelectorAll("#cautions details, #lists details")) box.open = on || box.closest("#cautions") !== null;
    document.body.classList.toggle("paper", on);
    if (on) this.seen = { centre: this.map.getCenter(), zoom: this.map.getZoom() };
    this.map.invalidateSize({ animate: false });
    if (on) this.drawing.whole();
    else if (this.seen) this.map.setView(this.seen.centre, this.seen.zoom, { animate: false });
  }

  grow(tall) {
    document.body.classList.toggle("tall", tall);
    byId("grow").setAttribute("aria-expanded", String(tall));
    byId("grow").title = word(tall ? "map.bigger_map" : "map.bigger_list");
    byId("grow").querySelector("span").textContent = word(tall ? "map.map_short" : "map.list_short");
  }

  search(text) {
    shown.query = text;
    if (shown.chosen) this.back();
    this.fillLists();
    byId("panel-body").scrollTop = 0;
  }

  choose(chosen, { fromMap = false } = {}) {
    if (!shown.chosen) this.lastScroll = byId("panel-body").scrollTop;
    shown.chosen = chosen;
    this.fillCard();
    this.grow(false);
    this.drawing.mark();
    if (!fromMap) this.drawing.goTo(chosen);
    byId("panel-body").scrollTop = 0;
    byId("card").querySelector("h2").focus({ preventScroll: true });
  }

  back() {
    const { chosen } = shown;
    if (!chosen) return;
    shown.chosen = null;
    this.fillCard();
    this.drawing.mark();
    byId("panel-body").scrollTop = this.lastScroll || 0;
    const row = chosen.kind === "valve" && [...document.querySelectorAll("#valve-rows button")].find((b) => b.dataset.valve === chosen.item.valve);
    if (row) row.focus();
    else byId("panel-body").focus({ preventScroll: true });
  }

  fillCard() {
    const card = byId("card"), { chosen } = shown;
    card.hidden = !chosen;
    document.body.classList.toggle("carded", Boolean(chosen));
    byId("lists").hidden = Boolean(chosen);
    byId("back").hidden = !chosen;
    byId("search").hidden = Boolean(chosen);
    card.replaceChildren(chosen ? CARDS[chosen.kind](chosen.item) : "");
  }

  orderBy(name) {
    shown.order = name;
    this.fillLists();
    document.querySelector("#lists .order [aria-pressed=true]").focus({ preventScroll: true });
  }

  fillLists() {
    byId("lists").replaceChildren(lists());
  }

  colourBy(name) {
    shown.colourBy = name;
    this.drawing.show();
    this.fillLegend();
    document.querySelector(`#layer-choices input[value=${name}]`).checked = true;
  }

  fillLayers() {
    const choices = [["valves", "map.by_valves"], ["rank", "map.by_rank"], ["zones", "map.by_zones"], ["surface", "map.by_surface"], ["uncertainty", "map.by_uncertainty"], ["change", "map.by_change"]]
      .filter(([name]) => name === "valves" || (name === "rank" && lastRank) || (name === "zones" && ranch.zones.length) || ranch.images[name] || (name === "change" && ranch.valves.some((v) => v.change)));
    const radio = ([name, key]) => make("label", {}, make("input", {
      type: "radio", name: "colour-by", value: name, checked: shown.colourBy === name ? "" : null,
      on: { change: () => this.colourBy(name) },
    }), make("span", { text: word(key) }));
    const boxes = [["used", "map.show_used"], ["leftOut", "map.show_left_out"], ["others", "map.show_others"], ["ranks", "map.show_ranks"], ["names", "map.show_names"], ["again", "map.show_again"]]
      .filter(([name]) => (name !== "again" || ranch.again.length) && (name !== "others" || readingsBy.others.length));
    const box = ([name, key]) => make("label", {}, make("input", {
      type: "checkbox", checked: shown.layers[name] ? "" : null,
      on: { change: (event) => { shown.layers[name] = event.target.checked; this.drawing.show(); } },
    }), layerMark(name), make("span", { text: name === "again" ? spotWord(key, "map.show_round") : word(key) }));
    byId("layers").querySelector("summary span").textContent = word("map.layers");
    byId("layer-choices").replaceChildren(
      make("fieldset", {}, make("legend", { text: word("map.colour_by") }), ...choices.map(radio)),
      make("fieldset", {}, make("legend", { text: word("map.also_show") }), ...boxes.map(box)));
  }

  fillLegend() {
    byId("legend-name").textContent = word("map.legend");
    byId("legend-body").replaceChildren(...legend());
  }

  fillLanguages() {
    const names = Object.keys(ranch.words);
    const group = byId("languages");
    group.hidden = names.length < 2;
    group.setAttribute("aria-label", word("map.language"));
    group.replaceChildren(...names.map((name) => make("button", {
      type: "button", lang: name, "aria-pressed": String(name === shown.language), title: ranch.words[name].locale.language,
      on: { click: () => { shown.language = name; this.speak(); group.querySelector(`[lang=${name}]`).focus(); } },
    }, name.toUpperCase(), make("span", { class: "unseen", text: ` ${ranch.words[name].locale.language}` }))));
  }

  // Writes every word of the page in the language shown.
  speak() {
    document.documentElement.lang = shown.language;
    document.title = word("map.title", { ranch: ranch.ranch, visit: visitDays() });
    byId("visit").textContent = visitDays();
    const tell = (id, key) => { byId(id).setAttribute("aria-label", word(key)); byId(id).title = word(key); };
    tell("zoom-in", "map.zoom_in");
    tell("zoom-out", "map.zoom_out");
    tell("whole", "map.whole_ranch");
    byId("whole").querySelector("span").textContent = word("map.whole_short");
    byId("locate").querySelector("span").textContent = word("map.locate_short");
    byId("locate").title = word("map.locate");
    byId("back").textContent = `‹ ${word("card.back")}`;
    byId("print").textContent = word("map.print");
    byId("north").querySelector("b").textContent = word("map.north");
    byId("search").placeholder = word("list.search");
    document.querySelector("label[for=search]").textContent = word("list.search");
    this.map.getContainer().setAttribute("aria-label", word("map.map_label"));
    this.map.getContainer().setAttribute("role", "region");
    byId("panel").setAttribute("aria-label", word("list.heading"));
    fillCautions();
    this.say("");
    this.fillLanguages();
    this.fillLegend();
    this.fillLayers();
    this.fillLists();
    this.fillCard();
    this.grow(document.body.classList.contains("tall"));
    this.drawing.labels.place();
  }

  say(text) {
    byId("map-word").textContent = text;
    byId("map-word").hidden = !text;
  }

  locate() {
    this.say(word("map.locating"));
    this.map.off("locationfound locationerror");
    this.map.on("locationfound", (event) => this.located(event));
    this.map.on("locationerror", () => this.say(word("map.locate_failed")));
    this.map.locate({ watch: true, enableHighAccuracy: true, maximumAge: 5000, timeout: 20000 });
  }

  located({ latlng: { lat, lng }, accuracy }) {
    const latlng = L.latLng(lat, turned(lng, this.map.options.center[1]));
    const first = !this.me;
    this.me?.remove();
    this.me = L.layerGroup([
      L.circle(latlng, { pane: "chosen", radius: accuracy, color: "#0a58ca", weight: 1, fillOpacity: 0.15, interactive: false }),
      L.circleMarker(latlng, { pane: "chosen", radius: 9, color: "#fff", weight: 3, fillColor: "#0a58ca", fillOpacity: 1, interactive: false, className: "me" }),
    ]).addTo(this.map);
    const near = Math.min(...ranch.valves.map((valve) => latlng.distanceTo(valve.at)));
    const off = !this.drawing.bounds.pad(0.5).contains(latlng);
    this.say(off ? word("map.located_off", { distance: distance(near) }) : word("map.located", { distance: distance(accuracy) }));
    if (first && !off) this.map.setView(latlng, Math.max(this.map.getZoom(), 16), { animate: false });
  }
}

// Called by the map element once it is there.
export function startRanchMap(map) {
  page = new RanchPage(map);
  document.documentElement.dataset.ready = "true";
}
