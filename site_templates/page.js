(function () {
  "use strict";
  var live = document.getElementById("live");
  // A text for whoever listens, in the page's wording; its places are filled in their order.
  function say(name, values) {
    return live.getAttribute("data-say-" + name).replace(/\{(\d)\}/g, function (_, place) { return values[place - 1]; });
  }
  var KINDS = ["outside", "undecided", "unchecked", "close", "within"];

  // On a narrow screen the row of pages scrolls: show where we are.
  var here = document.querySelector("nav.pages [aria-current]");
  if (here && !here.closest("details")) { here.closest("ul").scrollLeft = here.offsetLeft - 60; }

  // A drawing wider than the screen opens where the first thing to look at is.
  document.querySelectorAll(".canvas").forEach(function (canvas) {
    var mark = canvas.scrollWidth > canvas.clientWidth + 1 &&
      ['.m-outside,[href="#at-outside"],[font-weight]', '.m-undecided,[href="#at-undecided"]'].map(function (what) { return canvas.querySelector(what); }).find(Boolean);
    if (mark) { canvas.scrollLeft += mark.getBoundingClientRect().left - canvas.getBoundingClientRect().left - canvas.clientWidth / 2; }
  });

  // What is folded opens when a link leads there, and on paper.
  function unfold() {
    var place = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    var fold = place && (place.closest("details.fold") || place.querySelector(":scope > details.fold"));
    if (fold && !fold.open) { fold.open = true; place.scrollIntoView(); }
  }
  window.addEventListener("hashchange", unfold);
  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details.fold").forEach(function (fold) { fold.open = true; });
  });
  unfold();

  // The list of checks closes when something else is chosen.
  var list = document.querySelector("nav.pages details");
  if (list) {
    document.addEventListener("click", function (event) {
      if (!list.contains(event.target) || event.target.closest("a")) { list.open = false; }
    });
    document.addEventListener("keydown", function (event) {
      if (event.key === "Escape" && list.open) { list.open = false; list.querySelector("summary").focus(); }
    });
  }

  // A cell's text as something to compare: numbers as numbers, what has none as NaN.
  function number(text) {
    var found = /[+\u2212-]?\d[\d,]*(\.\d+)?/.exec(text);
    return found ? Number(found[0].replace(/[,+]/g, "").replace("\u2212", "-")) : NaN;
  }
  var READ = {
    text: function (cell) { return cell.textContent.trim(); },
    number: function (cell) { var text = cell.textContent; return text.indexOf("∞") >= 0 ? Infinity : number(text) * (text.indexOf("×") >= 0 ? 100 : 1); },
    kind: function (cell) { return KINDS.indexOf(cell.parentNode.getAttribute("data-k")); },
    lath: function (cell) { var n = number(cell.textContent); return /F/.test(cell.textContent) ? -n : n; },
    angle: function (cell) {
      var part = cell.textContent.match(/[\d.]+/g), sign = /^\u2212/.test(cell.textContent) ? -1 : 1;
      return part ? sign * (Number(part[0]) + Number(part[1] || 0) / 60 + Number(part[2] || 0) / 3600) : NaN;
    }
  };
  function compare(a, b, up) {
    if (typeof a === "string") { return (up ? 1 : -1) * a.localeCompare(b, "en", { numeric: true }); }
    if (a !== a || b !== b) { return a !== a ? (b !== b ? 0 : 1) : -1; }
    return (up ? 1 : -1) * (a < b ? -1 : a > b ? 1 : 0);
  }

  // On a narrow screen what was found stands far to the right: the row that a link leads to says it
  // on a line of its own.
  var told = null;
  function tell(row) {
    var found = row && row.querySelector("td.w");
    if (told) { told.previousSibling.classList.remove("telling"); told.remove(); told = null; }
    if (!found || !found.textContent.trim()) { return; }
    told = document.createElement("tr");
    told.className = "told";
    told.insertCell().colSpan = row.cells.length;
    told.cells[0].appendChild(document.createElement("span")).textContent = found.textContent;
    row.after(told);
    row.classList.add("telling");
  }

  document.querySelectorAll("table.sortable").forEach(function (table) {
    var body = table.tBodies[0];
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (head, column) {
      var button = document.createElement("button");
      button.type = "button";
      while (head.firstChild) { button.appendChild(head.firstChild); }
      head.appendChild(button);
      button.addEventListener("click", function () {
        tell(null);
        var up = head.getAttribute("aria-sort") !== "ascending", read = READ[head.getAttribute("data-sort")];
        table.querySelectorAll("[aria-sort]").forEach(function (other) { other.removeAttribute("aria-sort"); });
        head.setAttribute("aria-sort", up ? "ascending" : "descending");
        var rows = Array.prototype.map.call(body.rows, function (row, place) {
          return { row: row, place: place, value: read(row.cells[column]) };
        });
        rows.sort(function (a, b) { return compare(a.value, b.value, up) || a.place - b.place; });
        rows.forEach(function (each) { body.appendChild(each.row); });
        live.textContent = say(up ? "up" : "down", [button.textContent.trim()]);
      });
    });
  });

  document.querySelectorAll(".tools[data-table]").forEach(function (tools) {
    var bodies = tools.getAttribute("data-table").split(" ").map(function (name) { return document.getElementById(name).tBodies[0]; });
    var find = tools.querySelector("input"), kind = tools.querySelector("select"), count = tools.querySelector(".count"), body = bodies[0];
    function show() {
      tell(null);
      var wanted = find.value.trim().toLowerCase(), shown = {};
      Array.prototype.forEach.call(body.rows, function (row) {
        row.hidden = !((!kind.value || row.getAttribute("data-k") === kind.value) &&
          (!wanted || row.textContent.toLowerCase().indexOf(wanted) >= 0));
        if (!row.hidden) { shown["#" + row.id] = true; }
      });
      bodies.slice(1).forEach(function (other) {
        Array.prototype.forEach.call(other.rows, function (row) { row.hidden = !shown[row.querySelector("a").getAttribute("href")]; });
      });
      count.textContent = say("shown", [Object.keys(shown).length, body.rows.length]);
    }
    find.addEventListener("input", show);
    kind.addEventListener("change", show);
    tools.hidden = false;
    show();
    // A link to a row must find it, whatever is filtered.
    window.addEventListener("hashchange", function () {
      var row = document.getElementById(decodeURIComponent(location.hash.slice(1)));
      if (row && row.hidden && body.contains(row)) { find.value = ""; kind.value = ""; show(); row.scrollIntoView(); }
    });
  });

  // A row and its marks: the one that the pointer, the focus or a link is on is ringed in the
  // figures, and a click on a mark that is no link goes to its row.
  var rows = document.querySelectorAll("table.judged tbody"), marks = null, rings = [];
  function name(title) {
    var text = title.textContent, colon = text.lastIndexOf(": ");
    return text.slice(0, colon < 0 ? text.lastIndexOf(" ") : colon);
  }
  function unring() {
    rings.forEach(function (ring) { ring.remove(); });
    document.querySelectorAll(".lit").forEach(function (bar) { bar.classList.remove("lit"); });
    rings = [];
  }
  function ring(row) {
    unring();
    if (!row) { return; }
    if (!marks) {
      marks = {};
      row.closest("section").querySelectorAll(".canvas g > title").forEach(function (title) {
        (marks[name(title)] = marks[name(title)] || []).push(title.parentNode);
      });
    }
    (marks[row.cells[0].textContent] || []).forEach(function (mark) {
      if (!mark.hasAttribute("transform")) { mark.classList.add("lit"); return; }
      var circle = document.createElementNS("http://www.w3.org/2000/svg", "circle");
      circle.setAttribute("class", "mk ring");
      circle.setAttribute("r", "11");
      mark.appendChild(circle);
      rings.push(circle);
    });
  }
  function aimed() { return document.querySelector("table.judged tr:target"); }
  window.addEventListener("hashchange", function () { tell(aimed()); });
  window.addEventListener("load", function () { tell(aimed()); });
  if (rows.length === 1) {
    ["mouseover", "focusin"].forEach(function (kind) {
      rows[0].addEventListener(kind, function (event) { ring(event.target.closest("tr")); });
    });
    rows[0].addEventListener("mouseleave", function () { ring(aimed()); });
    rows[0].addEventListener("focusout", function () { ring(aimed()); });
    window.addEventListener("hashchange", function () { ring(aimed()); });
    document.querySelectorAll("section.page .plan").forEach(function (plan) {
      plan.addEventListener("click", function (event) {
        var mark = event.target, title, row;
        while (mark !== plan && !(title = mark.querySelector(":scope > title"))) { mark = mark.parentNode; }
        if (mark === plan || event.target.closest("a")) { return; }
        row = Array.prototype.find.call(rows[0].rows, function (each) { return each.cells[0].textContent === name(title); });
        if (row) { location.hash = row.id; }
      });
    });
    window.addEventListener("load", function () { ring(aimed()); });
  }

  document.querySelectorAll("figure.zoomable").forEach(function (figure) {
    var plan = figure.querySelector("svg.plan"), zoom = plan.querySelector(".zoom"), box = plan.viewBox.baseVal;
    var scale = plan.querySelector(".scale"), fixed = plan.querySelector(".fixed");
    var k = 1, x = 0, y = 0, held = {}, asked = 0, dragged = false;

    // On a narrow screen names are as large as elsewhere, so there is room for fewer of them: the
    // worst stand first.
    var narrow = window.matchMedia("(max-width:640px)"), names = plan.querySelectorAll(".zoom .mk text");
    function thin() {
      var kept = [], boxes = Array.prototype.map.call(names, function (each) { return each.getBoundingClientRect(); });
      names.forEach(function (each, index) {
        var a = boxes[index], free = !narrow.matches || kept.every(function (b) {
          return a.right < b.left || b.right < a.left || a.bottom < b.top || b.bottom < a.top;
        });
        if (free) { kept.push(a); }
        each.style.visibility = free ? "" : "hidden";
      });
    }
    function bar() {
      var per = Number(scale.dataset.pixels) / Number(scale.dataset.long) * k, right = Number(scale.dataset.right);
      var base = Number(scale.dataset.base), most = 180 / per, power = Math.pow(10, Math.floor(Math.log10(most)));
      var long = [5, 2, 1].find(function (f) { return f * power <= most * 1.000001; }) * power, left = right - long * per;
      scale.querySelector("path").setAttribute("d", "M" + left + " " + (base - 5) + "V" + (base + 4) + "M" + left + " " + base + "H" + right + "M" + right + " " + (base - 5) + "V" + (base + 4));
      var text = scale.querySelector("text");
      text.setAttribute("x", (left + right) / 2);
      text.textContent = Number(long.toPrecision(3)) + "\u00a0" + scale.dataset.unit;
    }
    function draw() {
      asked = 0;
      zoom.setAttribute("transform", "translate(" + x + " " + y + ") scale(" + k + ")");
      plan.style.setProperty("--unzoom", String(1 / k));
      if (fixed) { fixed.setAttribute("visibility", k === 1 ? "visible" : "hidden"); }
      bar();
      thin();
    }
    function ask() { if (!asked) { asked = requestAnimationFrame(draw); } }
    function limit() {
      x = Math.min(0, Math.max(box.width * (1 - k), x));
      y = Math.min(0, Math.max(box.height * (1 - k), y));
      ask();
    }
    function at(factor, cx, cy) {
      var next = Math.min(60, Math.max(1, k * factor));
      x = cx - (cx - x) * next / k;
      y = cy - (cy - y) * next / k;
      k = next;
      plan.style.touchAction = k === 1 ? "pan-x pan-y" : "none";
      limit();
    }
    function all() { k = 1; x = 0; y = 0; plan.style.touchAction = "pan-x pan-y"; ask(); }
    function place(event) {
      var r = plan.getBoundingClientRect();
      return { x: (event.clientX - r.left) * box.width / r.width, y: (event.clientY - r.top) * box.height / r.height };
    }
    function step(name) {
      if (name === "all") { all(); } else { at(name === "in" ? 1.6 : 1 / 1.6, box.width / 2, box.height / 2); }
    }
    figure.querySelectorAll("[data-zoom]").forEach(function (button) {
      button.addEventListener("click", function () { step(button.getAttribute("data-zoom")); });
    });
    plan.addEventListener("wheel", function (event) {
      if (!event.ctrlKey && !event.metaKey) { return; }
      event.preventDefault();
      var p = place(event);
      at(event.deltaY < 0 ? 1.2 : 1 / 1.2, p.x, p.y);
    }, { passive: false });
    plan.addEventListener("pointerdown", function (event) { held[event.pointerId] = place(event); dragged = false; });
    plan.addEventListener("pointermove", function (event) {
      var old = held[event.pointerId], ids = Object.keys(held);
      if (!old) { return; }
      var p = place(event);
      if (ids.length === 2) {
        var other = held[ids[0] === String(event.pointerId) ? ids[1] : ids[0]];
        var before = Math.hypot(old.x - other.x, old.y - other.y), now = Math.hypot(p.x - other.x, p.y - other.y);
        if (before > 0) { at(now / before, (p.x + other.x) / 2, (p.y + other.y) / 2); }
        dragged = true;
      } else if (k > 1) {
        if (!dragged && Math.hypot(p.x - old.x, p.y - old.y) < 4) { return; }
        if (!dragged) { dragged = true; plan.setPointerCapture(event.pointerId); plan.classList.add("moving"); }
        x += p.x - old.x;
        y += p.y - old.y;
        limit();
      }
      held[event.pointerId] = p;
    });
    ["pointerup", "pointercancel", "pointerleave"].forEach(function (name) {
      plan.addEventListener(name, function (event) { delete held[event.pointerId]; plan.classList.remove("moving"); });
    });
    plan.addEventListener("click", function (event) { if (dragged) { event.preventDefault(); dragged = false; } }, true);
    plan.parentNode.addEventListener("keydown", function (event) {
      var move = { ArrowLeft: [60, 0], ArrowRight: [-60, 0], ArrowUp: [0, 60], ArrowDown: [0, -60] }[event.key];
      var name = { "+": "in", "=": "in", "-": "out", "0": "all" }[event.key];
      if (event.ctrlKey || event.metaKey || event.altKey || (!name && (!move || k === 1))) { return; }
      event.preventDefault();
      if (name) { step(name); } else { x += move[0]; y += move[1]; limit(); }
    });
    figure.querySelector(".tools").hidden = false;
    thin();
    narrow.addEventListener("change", thin);
    window.addEventListener("beforeprint", function () { all(); draw(); });
  });
})();
