// Forms that answer while they are filled in: what is typed stays, and why no answer came is told where it would stand.

import { follow } from "./follows.js";

// Signing in again in another tab makes the token of this page stale; the cookie has the one that holds.
function token() {
  const found = document.cookie.split("; ").find((part) => part.startsWith("csrftoken="));
  return found && decodeURIComponent(found.slice("csrftoken=".length));
}

function tell(text, ...more) {
  const told = document.createElement("p");
  told.className = "error";
  told.append(text, ...more);
  const place = document.getElementById("told");
  place.replaceChildren(told);
  place.scrollIntoView();
}

function signIn() {
  const address = document.querySelector("script[data-sign-in]").dataset.signIn;
  return Object.assign(document.createElement("a"), { href: address, target: "_blank", textContent: "Sign in in another tab" });
}

document.addEventListener("htmx:configRequest", ({ detail }) => {
  if (token() && detail.parameters.csrfmiddlewaretoken) detail.parameters.csrfmiddlewaretoken = token();
});
document.addEventListener("htmx:responseError", ({ detail }) => {
  // 403: the token went with the session.
  if ([401, 403].includes(detail.xhr.status)) tell("You are signed out; nothing was recorded. What you typed stays here: ", signIn(), ", then come back and press again.");
  else if (detail.xhr.status === 429) tell("That was asked too often in a short time; nothing was recorded. Try again in a minute.");
  else tell("The service could not answer; nothing was recorded. What you typed stays here; try again in a moment.");
});
document.addEventListener("htmx:sendError", () => tell("No connection; nothing was recorded. What you typed stays here; try again when it is back."));

function followAll() {
  for (const form of document.forms) follow(form);
}

document.addEventListener("change", followAll);
document.addEventListener("htmx:afterSwap", followAll);
followAll();
