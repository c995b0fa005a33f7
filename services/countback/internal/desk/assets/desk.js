// Follows changes and says when what is shown is stale. Pages work without it.
"use strict";
(function () {
  var news = document.getElementById("news");
  var shown = document.body.dataset.stamp.slice(11, 16);

  function say(text, link) {
    news.textContent = text;
    if (!link) return;
    var a = document.createElement("a");
    a.href = location.href;
    a.textContent = link;
    news.append(" ", a);
  }

  // A page that somebody is writing on, or has opened something on, stays as it is.
  function busy() {
    var at = document.activeElement;
    return (at && at.closest("form")) || document.querySelector("main details[open], form.questions");
  }

  function stale() {
    document.body.classList.add("stale");
    say("Something changed after " + shown + ".", "Show it as it is now");
  }

  function refresh() {
    if (document.hidden || busy()) { stale(); return; }
    fetch(location.href, { credentials: "same-origin" }).then(function (r) {
      if (!r.ok) throw new Error("status");
      return r.text();
    }).then(function (text) {
      var page = new DOMParser().parseFromString(text, "text/html");
      if (busy()) { stale(); return; }
      document.getElementById("main").replaceWith(document.importNode(page.getElementById("main"), true));
      document.querySelector(".clock").replaceWith(document.importNode(page.querySelector(".clock"), true));
      shown = page.body.dataset.stamp.slice(11, 16);
      document.body.classList.remove("stale");
      say("Brought up to date.");
    }).catch(stale);
  }

  var waiting = null;
  var source = new EventSource("/desk/live");
  source.addEventListener("change", function () {
    if (waiting) return;
    waiting = setTimeout(function () { waiting = null; refresh(); }, 1500);
  });
  source.onopen = function () {
    if (document.body.classList.contains("adrift")) {
      document.body.classList.remove("adrift");
      refresh();
    }
  };
  source.onerror = function () {
    document.body.classList.add("adrift");
    say("Not connected. What you see is from " + shown + " and may be stale.", "Try again");
  };
})();
