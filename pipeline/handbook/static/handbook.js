// The search box: entries that lack one of the words are put out of sight. Without script all stand.
"use strict";
(() => {
  const form = document.getElementById("search");
  const box = document.getElementById("words");
  const count = document.getElementById("count");
  const entries = [...document.querySelectorAll("main .entry")].map((at) => {
    return { at, text: at.textContent.toLowerCase() };
  });
  const holders = [...document.querySelectorAll("main .part, main .document")];
  const links = [...document.querySelectorAll("nav li")];

  const sift = () => {
    const words = box.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const { at, text } of entries) {
      at.hidden = !words.every((word) => text.includes(word));
      shown += at.hidden ? 0 : 1;
    }
    for (const at of holders) at.hidden = !at.querySelector(".entry:not([hidden])");
    for (const at of links) {
      const target = document.getElementById(at.firstElementChild.hash.slice(1));
      at.hidden = Boolean(words.length) && Boolean(target.closest("[hidden]"));
    }
    if (!words.length) count.textContent = "";
    else if (!shown) count.textContent = "No section has all these words.";
    else count.textContent = shown === 1 ? "1 section" : `${shown} sections`;
  };

  form.hidden = false;
  // A small page on a phone need not begin with the whole list of contents.
  if (window.matchMedia("(max-width: 48rem)").matches) {
    for (const at of document.querySelectorAll("nav details")) at.open = false;
  }
  box.addEventListener("input", sift);
  form.addEventListener("submit", (event) => event.preventDefault());
  // A link to what the search hides ends the search.
  window.addEventListener("hashchange", () => {
    const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (!target || !target.closest("[hidden]")) return;
    box.value = "";
    sift();
    target.scrollIntoView();
  });
})();
