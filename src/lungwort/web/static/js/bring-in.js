// Files are sent one by one, each with its progress; without this script the form sends them all.

const form = document.getElementById("bring-in");
const csrf = document.querySelector('meta[name="csrf"]').content;

if (form) {
  const files = form.querySelector("#files");
  const drop = form.querySelector("#drop");
  const list = form.querySelector("#sending");
  const button = form.querySelector("button.main");
  const words = form.dataset;
  const title = document.title;

  drop.querySelector(".drop-hint").hidden = false;
  for (const kind of ["dragenter", "dragover"]) {
    drop.addEventListener(kind, (event) => {
      event.preventDefault();
      drop.classList.add("over");
    });
  }
  for (const kind of ["dragleave", "drop"]) {
    drop.addEventListener(kind, () => drop.classList.remove("over"));
  }
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    if (event.dataTransfer.files.length) files.files = event.dataTransfer.files;
    show();
  });
  // A file that misses the place would be opened by the browser and the page lost.
  for (const kind of ["dragover", "drop"]) {
    window.addEventListener(kind, (event) => event.preventDefault());
  }
  files.addEventListener("change", show);

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    event.stopImmediatePropagation();
    if (!form.dataset.busy) send();
  }, true);

  function show() {
    list.replaceChildren(...Array.from(files.files, (file) => row(file).element));
  }

  function row(file) {
    const element = document.createElement("li");
    const name = document.createElement("bdi");
    const state = document.createElement("span");
    name.textContent = file.name;
    state.textContent = `${(file.size / 1048576).toFixed(1)} MiB`;
    element.append(name, state);
    return { element, state };
  }

  async function send() {
    const chosen = Array.from(files.files);
    form.dataset.busy = "yes";
    button.disabled = true;
    try {
      const begun = await begin();
      const rows = chosen.map(row);
      list.replaceChildren(...rows.map((one) => one.element));
      const total = chosen.reduce((sum, one) => sum + one.size, 0) || 1;
      let before = 0;
      for (const [place, file] of chosen.entries()) {
        await one(begun.address, file, rows[place], (sent) => {
          document.title = `${Math.floor((100 * (before + sent)) / total)} % ${words.all}`;
        });
        before += file.size;
      }
      window.location.assign(begun.address);
    } catch (error) {
      const failed = document.createElement("li");
      failed.className = "failed";
      failed.setAttribute("role", "alert");
      failed.textContent = error.message;
      list.append(failed);
      document.title = title;
      button.disabled = false;
    } finally {
      delete form.dataset.busy;
    }
  }

  async function begin() {
    const asked = new URLSearchParams({ csrf, by_script: "yes" });
    for (const name of ["outlet", "instrument", "recipe"]) {
      const value = new FormData(form).get(name);
      if (value) asked.set(name, value);
    }
    let answer;
    try {
      answer = await fetch("/logs/new", { method: "POST", body: asked, headers: { "X-CSRF-Token": csrf, Accept: "application/json" } });
    } catch {
      throw new Error(words.uploadFailed);
    }
    return read(answer.status, await answer.text());
  }

  function read(status, text) {
    let told = {};
    try {
      told = JSON.parse(text);
    } catch {
      // The answer is a page; what it says is not for here.
    }
    if (status >= 400) throw new Error(told.error || told.detail || words.uploadFailed);
    return told;
  }

  function one(address, file, place, tell) {
    if (file.size > Number(words.most) * 1048576) {
      return Promise.reject(new Error(`${file.name} ${words.tooLarge}`));
    }
    const bar = document.createElement("progress");
    bar.max = 1;
    bar.value = 0;
    bar.setAttribute("aria-label", `${words.sending} ${file.name}`);
    place.element.append(bar);
    return new Promise((done, fail) => {
      const request = new XMLHttpRequest();
      request.open("POST", `${address}/files?name=${encodeURIComponent(file.name)}`);
      request.setRequestHeader("X-CSRF-Token", csrf);
      request.setRequestHeader("Accept", "application/json");
      request.setRequestHeader("Content-Type", "application/octet-stream");
      request.upload.addEventListener("progress", (event) => {
        if (!event.lengthComputable) return;
        bar.value = event.loaded / event.total;
        place.state.textContent = `${words.sending}: ${Math.floor(100 * bar.value)} %`;
        tell(event.loaded);
      });
      request.addEventListener("load", () => {
        try {
          read(request.status, request.responseText);
          bar.value = 1;
          place.state.textContent = words.sent;
          done();
        } catch (error) {
          fail(new Error(`${file.name}: ${error.message}`));
        }
      });
      request.addEventListener("error", () => fail(new Error(`${file.name}: ${words.uploadFailed}`)));
      request.send(file);
    });
  }
}
