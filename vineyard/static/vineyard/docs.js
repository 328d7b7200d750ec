"use strict";
// Ask for a key that is good for an hour, and hand it to the page's own Authorize; it is kept in memory only.
document.getElementById("key-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const said = document.getElementById("key-said");
  try {
    const answer = await fetch("/docs/key", { method: "POST", body: new FormData(event.target), credentials: "same-origin" });
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.detail);
    ui.preauthorizeApiKey("key", told.key);
    said.textContent = "Calls go out in your name until " + new Date(told.expires_at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" }) + ".";
  } catch (error) {
    said.textContent = "No key was given: " + error.message;
  }
});
