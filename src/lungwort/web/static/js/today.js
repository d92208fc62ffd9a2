// What is on the screen counts only as long as it is heard of: after three minutes without an answer
// the words are taken away, so that nobody trusts an old one.

const LONGEST = 180_000;
const EVERY = 5_000;

let heard = performance.now();
let seen = Date.now();

document.addEventListener("htmx:afterSwap", (event) => {
  if (event.detail.xhr.status === 200 && document.getElementById("board")) {
    heard = performance.now();
    seen = Date.now();
    document.body.classList.remove("stale");
  }
});

function old() {
  // One of the two clocks stands still while a computer sleeps, the other may be set back.
  return performance.now() - heard > LONGEST || Date.now() - seen > LONGEST;
}

function look() {
  const board = document.getElementById("board");
  if (!board || !old()) return;
  document.body.classList.add("stale");
  const note = board.querySelector(".stale-note");
  note.textContent = board.dataset.staleWhy;
  note.hidden = false;
  for (const item of board.querySelectorAll(".board")) {
    item.className = "board k-no_evidence";
    const word = item.querySelector("strong");
    word.textContent = board.dataset.stale;
    for (const line of item.querySelectorAll(".state")) line.remove();
  }
}

setInterval(look, EVERY);
document.addEventListener("visibilitychange", look);
window.addEventListener("pageshow", (event) => {
  look();
  // A page out of the browser's memory is as old as it is.
  if (event.persisted) location.reload();
});
