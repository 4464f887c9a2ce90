// Finds pages in the list that search-index.js sets. Nothing leaves the page.
"use strict";
(function () {
  var input = document.getElementById("find");
  var list = document.getElementById("found");
  var count = document.getElementById("count");
  var root = list.getAttribute("data-root");
  var most = 50;

  function fold(s) {
    return s.normalize("NFD").replace(/\p{Mn}/gu, "").toLowerCase();
  }

  // Made ready once, since every letter that is typed looks through all of it.
  var pages = archiveIndex.map(function (entry, place) {
    return { entry: entry, place: place, title: fold(entry.t), words: " " + entry.w.join(" ") };
  });

  function score(page, wanted) {
    var sum = 0;
    for (var i = 0; i < wanted.length; i++) {
      if (page.words.indexOf(" " + wanted[i]) < 0) return 0;
      sum += page.title.indexOf(wanted[i]) >= 0 ? 3 : 1;
    }
    return sum;
  }

  function element(name, text, className) {
    var e = document.createElement(name);
    if (text) e.textContent = text;
    if (className) e.className = className;
    return e;
  }

  function show(entry) {
    var item = element("li");
    item.append(element("p", entry.k, "meta"));
    var heading = element("h2");
    var link = element("a", entry.t);
    link.href = root + entry.u;
    heading.append(link);
    item.append(heading);
    if (entry.l) item.append(element("p", entry.l));
    return item;
  }

  function find() {
    var wanted = fold(input.value).split(/[^\p{L}\p{N}]+/u).filter(Boolean);
    list.textContent = "";
    if (!wanted.length) {
      count.textContent = "";
      return;
    }
    var hits = pages
      .map(function (page) { return { page: page, score: score(page, wanted) }; })
      .filter(function (hit) { return hit.score > 0; })
      .sort(function (a, b) { return b.score - a.score || a.page.place - b.page.place; });
    hits.slice(0, most).forEach(function (hit) { list.append(show(hit.page.entry)); });
    count.textContent = hits.length === 0 ? "Nothing found. Try fewer or shorter words." :
      hits.length === 1 ? "1 page found." :
      hits.length > most ? hits.length + " pages found; these are the first " + most + "." :
      hits.length + " pages found.";
  }

  input.value = new URLSearchParams(location.search).get("q") || "";
  input.addEventListener("input", find);
  input.form.addEventListener("submit", function (e) { e.preventDefault(); find(); });
  find();
})();
