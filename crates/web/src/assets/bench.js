// Makes the same forms quicker; every page works without it.
"use strict";

(() => {
  const entry = document.querySelector("#value, #line");
  const phone = matchMedia("(max-width: 46rem)");

  if (entry) {
    readWhileTyping(entry);
    if (phone.matches && "numbers" in entry.dataset) addKeys(entry);
    if (entry.id === "value") acceptColumn(entry);
  }
  for (const link of document.querySelectorAll("a[data-copy]")) copyInstead(link);
  const open = document.querySelector("[data-again]");
  if (open) setTimeout(loadAgain, open.dataset.again * 1000);

  // What is still being looked for is asked for again, unless somebody is typing or reading something else.
  function loadAgain() {
    const inputs = Array.from(document.querySelectorAll("input"));
    const typing = inputs.some((input) => input.value !== input.defaultValue) || document.activeElement.matches("input");
    if (typing || document.hidden) setTimeout(loadAgain, 5000);
    else location.reload();
  }

  // "Read as ..." under the line while it is typed. An answer that is overtaken is dropped.
  function readWhileTyping(input) {
    const place = document.getElementById("read");
    const before = place.innerHTML;
    let timer = 0;
    let asked = 0;
    const ask = async () => {
      const mine = ++asked;
      if (!input.value.trim() || input.value.includes("=")) {
        place.innerHTML = before;
        return;
      }
      const query = new URLSearchParams({ machine: input.dataset.machine, line: input.value });
      if (input.dataset.check) query.set("check", input.dataset.check);
      try {
        const answer = await fetch("/read?" + query);
        if (answer.ok && mine === asked) place.innerHTML = await answer.text();
      } catch {
        // The server is gone: the line itself will say so when it is written.
      }
    };
    input.addEventListener("input", () => {
      clearTimeout(timer);
      timer = setTimeout(ask, 120);
    });
    if (input.value) ask();
  }

  // A column copied from elsewhere: one value a machine, from the open one downwards, shown before it is written.
  function acceptColumn(input) {
    input.addEventListener("paste", (event) => {
      const text = event.clipboardData.getData("text");
      const values = text.split(/\r?\n/).map((value) => value.split("\t")[0].trim());
      while (values.length && !values[values.length - 1]) values.pop();
      if (values.length < 2) return;
      event.preventDefault();
      const tags = Array.from(document.querySelectorAll(".round tbody th .tag"), (tag) => tag.textContent);
      const from = tags.indexOf(input.dataset.machine);
      const pairs = values.map((value, n) => [tags[from + n], value]).filter(([tag, value]) => tag && value);
      input.value = pairs.map(([tag, value]) => tag + "=" + value).join("; ");
      input.dispatchEvent(new Event("input"));
    });
  }

  // A number pad for the thumb. It leaves the focus alone, so the phone's own keyboard stays away until
  // somebody taps the line itself, for letters.
  function addKeys(input) {
    const keys = document.createElement("div");
    keys.className = "keys";
    keys.setAttribute("role", "group");
    keys.setAttribute("aria-label", "Number pad");
    const names = { "⌫": "Delete", k: "kilo", M: "mega", "−": "minus", ".": "point" };
    for (const key of ["7", "8", "9", "⌫", "4", "5", "6", "k", "1", "2", "3", "M", "−", "0", ".", "Enter"]) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = key;
      if (names[key]) button.setAttribute("aria-label", names[key]);
      if (/[⌫kM−]/.test(key)) button.className = "unit";
      if (key === "Enter") button.className = "go";
      button.addEventListener("pointerdown", (event) => event.preventDefault());
      button.addEventListener("click", () => press(input, key));
      keys.append(button);
    }
    if (input.id === "value") {
      if (!input.autofocus) return;
      input.inputMode = "none";
      keys.classList.add("thumb");
      input.closest("form").append(keys);
      document.body.classList.add("with-keys");
      input.addEventListener("pointerdown", () => { input.inputMode = "text"; });
      input.addEventListener("click", () => document.body.classList.add("typing"));
      input.addEventListener("blur", () => {
        input.inputMode = "none";
        document.body.classList.remove("typing");
      });
    } else {
      input.closest("form").append(keys);
    }
  }

  function press(input, key) {
    if (key === "Enter") {
      input.form.requestSubmit();
      return;
    }
    if (key === "⌫") {
      input.value = input.value.slice(0, -1);
    } else {
      input.value += key === "−" ? "-" : key;
    }
    input.dispatchEvent(new Event("input"));
  }

  // The list of a parcel goes to the clipboard; where that is not allowed the link opens it as text.
  function copyInstead(link) {
    if (!navigator.clipboard) return;
    link.addEventListener("click", async (event) => {
      event.preventDefault();
      try {
        const answer = await fetch(link.href);
        await navigator.clipboard.writeText(await answer.text());
        const told = link.parentElement.querySelector(".copied");
        told.textContent = link.dataset.copy;
        setTimeout(() => { told.textContent = ""; }, 4000);
      } catch {
        location.assign(link.href);
      }
    });
  }
})();
