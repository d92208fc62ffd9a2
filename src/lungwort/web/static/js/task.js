// The browser's title tells how far a task has come.

const rest = document.title.replace(/^.*? · /, "");

function show() {
  const task = document.getElementById("task");
  if (!task) return;
  const { percent, title, state } = task.dataset;
  const share = state === "failed" ? "✕" : percent === undefined ? "…" : `${percent} %`;
  document.title = `${share} ${title} · ${rest}`;
}

document.addEventListener("htmx:afterSwap", show);
document.addEventListener("htmx:load", show);
show();
