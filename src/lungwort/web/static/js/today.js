// What is on the screen counts only as long as it is heard of: after three minutes without an answer
// the words are taken away, so that nobody trusts an old one.

const LONGEST = 180_000;
const EVERY = 5_000;
const note = document.getElementById("stale-note");

let heard = performance.now();
let seen = Date.now();

// An answer that is no board, such as a page to sign in, is no news of the air.
document.addEventListener("htmx:beforeSwap", (event) => {
  if (event.detail.target.id !== "board") return;
  const is = event.detail.xhr.status === 200 && event.detail.xhr.responseText.includes('id="board"');
  if (!is) event.detail.shouldSwap = false;
});

document.addEventListener("htmx:afterSwap", (event) => {
  if (event.detail.target.id !== "board" && !document.getElementById("board")) return;
  heard = performance.now();
  seen = Date.now();
  document.body.classList.remove("stale");
  note.hidden = true;
});

function old() {
  // One of the two clocks stands still while a computer sleeps, the other may be set back.
  const wall = Date.now() - seen;
  return performance.now() - heard > LONGEST || wall > LONGEST || wall < -LONGEST;
}

function look() {
  const board = document.getElementById("board");
  if (!board || !old()) return;
  document.body.classList.add("stale");
  note.textContent = note.dataset.why;
  note.hidden = false;
  for (const item of board.querySelectorAll(".board")) {
    item.className = "board k-no_evidence";
    item.querySelector("strong").textContent = note.dataset.word;
    for (const line of item.querySelectorAll(".state")) line.remove();
  }
  for (const part of board.querySelectorAll(".part")) part.remove();
}

setInterval(look, EVERY);
document.addEventListener("visibilitychange", look);
window.addEventListener("pageshow", (event) => {
  look();
  // A page out of the browser's memory is as old as it is.
  if (event.persisted) location.reload();
});
