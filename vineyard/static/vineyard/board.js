// Looks whether the report is made, and shows the page anew once it is; without this, the link on the page does.
const status = document.querySelector("[data-waits]");
async function look() {
  try {
    const answer = await fetch(location.href);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const now = page.querySelector("[data-waits]");
    if (!now) return location.reload();
    if (now.textContent !== status.textContent) status.textContent = now.textContent;
  } catch {} // the line is down: look again
  setTimeout(look, 3000);
}
setTimeout(look, 3000);
