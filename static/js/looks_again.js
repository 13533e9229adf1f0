// A batch in work: what has changed is taken over every three seconds. Focus, scroll and what is being read stay.

const here = document.querySelector("#batch");

async function look() {
  const answer = await fetch(location.href).catch(() => null);
  if (answer?.ok) {
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const now = page.querySelector("#batch");
    if (!now) return;
    if (here.innerHTML !== now.innerHTML) here.replaceChildren(...now.childNodes);
    if (!("waiting" in now.dataset)) return;
  }
  setTimeout(look, 3000);
}

setTimeout(look, 3000);
