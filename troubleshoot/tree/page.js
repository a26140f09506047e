"use strict";
// One step a screen. Where one stands is in the page's address, behind the #: "w0.2" is the third branch of the step that
// the first branch of the first step leads to. So it stays when the page is dropped and loaded anew. What was read is kept
// in the browser's own store where there is one.
(function () {
  var body = document.body, store = "walk " + body.dataset.tree, saved = load();
  var $ = function (id) { return document.getElementById(id); };
  // Powers of ten of the units; letter case tells milli from mega with ohms alone
  var POWER = {
    voltage: { v: 0, mv: -3 }, current: { a: 0, ma: -3 },
    resistance: { ohm: 0, "Ω": 0, k: 3, K: 3, kohm: 3, Kohm: 3, "kΩ": 3, M: 6, Mohm: 6, "MΩ": 6, mohm: -3, "mΩ": -3 }
  };

  function load() {
    try { return JSON.parse(localStorage.getItem(store)) || {}; } catch (error) { return {}; }
  }
  function save() {
    try { localStorage.setItem(store, JSON.stringify(saved)); } catch (error) { /* it goes on without */ }
  }

  // ---- where one stands

  // The way: { steps: [{ section, branch, key }], section, place }, where place is the address without its # and mark
  function stand() {
    var address = decodeURIComponent(location.hash.slice(1));
    var mark = /[!~]$/.test(address) ? address.slice(-1) : "";
    var place = mark ? address.slice(0, -1) : address;
    if (!/^w([0-9]+(\.[0-9]+)*)?$/.test(place)) { return { steps: [], section: $("gate"), place: "", mark: mark }; }
    var section = $("s" + body.dataset.first), steps = [], key = "w";
    place.slice(1).split(".").filter(String).every(function (index) {
      var branch = section.querySelectorAll(".branch")[Number(index)];
      if (!branch) { return false; }
      steps.push({ section: section, branch: branch, key: key });
      key += (key === "w" ? "" : ".") + Number(index);
      section = $("s" + branch.dataset.to);
      return true;
    });
    return { steps: steps, section: section, place: key, mark: mark };
  }

  function go(address) {
    try { history.pushState(null, "", "#" + address); } catch (error) { location.hash = address; }
    show(true);
  }

  function take(index, said) {
    var here = stand();
    saved.said = saved.said || {};
    saved.said[here.place] = said;
    go(here.place + (here.place === "w" ? "" : ".") + index);
  }

  // ---- showing it

  function show(focus) {
    var here = stand(), shown = here.mark === "!" ? $("stop") : here.mark === "~" ? $("cannot") : here.section;
    document.querySelectorAll(".screen").forEach(function (each) { each.classList.toggle("now", each === shown); });
    var isStep = shown.classList.contains("step"), begun = here.place !== "";
    saved.place = here.place + here.mark;
    save();
    body.classList.toggle("begun", begun);
    $("report").hidden = !begun;
    $("back").disabled = !begun && !here.mark;
    $("again").disabled = !begun;
    $("skip").disabled = !isStep;
    tell(here, shown);
    document.querySelectorAll(".wrong").forEach(function (each) { each.textContent = ""; });
    if (focus) {
      scrollTo(0, 0);
      shown.querySelector("h2").focus();
    }
  }

  function words(step) {
    var said = (saved.said || {})[step.key], branch = step.branch.dataset.words;
    return step.section.dataset.short + ": " + (said && said !== branch ? said + " (" + branch + ")" : branch);
  }

  function tell(here, shown) {
    var list = document.querySelector(".way"), last = here.steps[here.steps.length - 1];
    list.textContent = "";
    here.steps.forEach(function (step) {
      var item = document.createElement("li");
      item.textContent = words(step);
      list.appendChild(item);
    });
    document.querySelector(".told").textContent = last ? "Noted: " + words(last) : "";
    var lines = [document.title].concat(here.steps.map(function (step, at) { return at + 1 + ". " + words(step); }));
    if (shown.dataset.report) { lines.push(shown.dataset.report); }
    if (here.mark === "~") { lines.push("Not done: " + here.section.dataset.short); }
    if (here.mark === "!") { lines.push("Stopped: unsafe."); }
    $("text").value = lines.join("\n");
    document.querySelector(".copied").textContent = "";
  }

  // ---- what is typed

  // The number in SI, Infinity for over limit; or { wrong: what would be right }
  function number(typed, unit) {
    var text = typed.trim().replace(/[−–]/g, "-"), kind = unit.dataset.kind;
    if (/^(ol|o\.l\.?|0l|over ?limit|open)$/i.test(text)) {
      return kind === "resistance" ? Infinity : { wrong: "On this range OL means that the range is too low: choose a higher one." };
    }
    var found = /^([-+]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)) ?([a-zA-ZΩ]*)$/.exec(text);
    if (!found) { return { wrong: "Type one number, like " + unit.dataset.like + ", or tap what fits." }; }
    var name = found[2] || unit.value, power = POWER[kind][kind === "resistance" ? name.replace(/ohms?$/i, "ohm") : name.toLowerCase()];
    if (power === undefined) { return { wrong: "\"" + name + "\" is no unit for this: " + unit.dataset.like + "." }; }
    var digits = found[1].replace(",", ".");
    if (kind === "resistance" && /^[-+]?[1-9][0-9]{0,2},[0-9]{3}$/.test(found[1])) { return { wrong: "Is the comma a decimal one? Type it with a point." }; }
    if (kind === "resistance" && /^m/.test(name)) { return { wrong: "Milliohms or megohms? Type it in ohm, or with Mohm." }; }
    var value = Number(digits + "e" + power); // as the decimal number it is, so that a limit is met exactly
    if (kind === "voltage" && Math.abs(value) > 20) { return { wrong: "More than 20 V is not likely here. Look at the point and the unit, and type it again." }; }
    if (kind === "current" && Math.abs(value) > 60) { return { wrong: "More than 60 A is not likely here. Look at the point and the unit, and type it again." }; }
    if (kind === "resistance" && value < 0) { return { wrong: "Ohms below zero are none: is the circuit dead? Battery negative off, then read again." }; }
    if (kind === "resistance" && /^1\.?$/.test(digits) && power === 0) { return { wrong: "Does it read 1 ohm (type 1.0), or is it an older meter's 1 for over limit (type OL)?" }; }
    return value;
  }

  function enter(form) {
    var unit = form.querySelector("select"), field = form.querySelector("input"), section = form.closest(".step");
    var value = number(field.value, unit), wrong = section.querySelector(".wrong"), at = -1;
    if (value.wrong) {
      wrong.textContent = value.wrong;
      field.setAttribute("aria-invalid", "true");
      field.focus();
      wrong.scrollIntoView({ block: "nearest" });
      return;
    }
    field.removeAttribute("aria-invalid");
    var branches = [].slice.call(section.querySelectorAll(".branch"));
    branches.forEach(function (branch, index) {
      var low = branch.dataset.low === "" ? -Infinity : Number(branch.dataset.low);
      var high = branch.dataset.high === "" ? Infinity : Number(branch.dataset.high);
      var over = branch.dataset.over === "over";
      if (at < 0 && (value === Infinity ? over : !over && low <= value && value < high)) { at = index; }
    });
    if (at < 0) { at = branches.findIndex(function (branch) { return branch.dataset.high === "" && branch.dataset.over !== "over"; }); }
    var typed = field.value.trim(), bare = /^[-+.,0-9]+$/.test(typed);
    field.value = "";
    take(at, bare ? typed + " " + unit.value : typed);
  }

  // ---- what is pressed

  document.addEventListener("submit", function (event) {
    event.preventDefault();
    enter(event.target);
  });
  document.addEventListener("click", function (event) {
    var branch = event.target.closest(".branch");
    if (branch) {
      event.preventDefault();
      var all = branch.closest(".screen").querySelectorAll(".branch");
      take([].indexOf.call(all, branch), branch.dataset.words);
    }
  });
  $("clear").addEventListener("click", function (event) { event.preventDefault(); go("w"); });
  $("unsafe").addEventListener("click", function (event) { event.preventDefault(); go(stand().place + "!"); });
  $("danger").addEventListener("click", function () { go(stand().place + "!"); });
  $("skip").addEventListener("click", function () { go(stand().place + "~"); });
  $("again").addEventListener("click", function () { go(""); });
  $("back").addEventListener("click", function () {
    var here = stand();
    go(here.mark ? here.place : here.steps.length ? here.steps[here.steps.length - 1].key : "");
  });
  $("copy").addEventListener("click", function () {
    var text = $("text"), done = function () { document.querySelector(".copied").textContent = "Copied."; };
    var by_hand = function () {
      text.focus();
      text.select();
      if (document.execCommand("copy")) { done(); } else { document.querySelector(".copied").textContent = "Marked: copy it by hand."; }
    };
    if (navigator.clipboard) { navigator.clipboard.writeText(text.value).then(done, by_hand); } else { by_hand(); }
  });
  if (navigator.share) {
    $("send").hidden = false;
    $("send").addEventListener("click", function () { navigator.share({ text: $("text").value }).catch(function () {}); });
  }
  ["popstate", "hashchange"].forEach(function (moved) { addEventListener(moved, function () { show(true); }); });

  body.classList.add("js");
  if (!location.hash && saved.place) { history.replaceState(null, "", "#" + saved.place); }
  show(false);
})();
