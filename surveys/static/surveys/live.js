// Forms with a live preview: entries stay in the form, and a failed request is reported in place of the preview.

import { follow } from "./follows.js";

// After a sign-in in another tab the token of this page is out of date; the cookie has the current one.
function token() {
  const found = document.cookie.split("; ").find((part) => part.startsWith("csrftoken="));
  return found && decodeURIComponent(found.slice("csrftoken=".length));
}

function showMessage(text, ...more) {
  const message = document.createElement("p");
  message.className = "error";
  message.append(text, ...more);
  const place = document.getElementById("sheet-answer");
  place.replaceChildren(message);
  place.scrollIntoView();
}

function signIn() {
  const address = document.querySelector("script[data-sign-in]").dataset.signIn;
  return Object.assign(document.createElement("a"), { href: address, target: "_blank", textContent: gettext("Sign in (new tab)") });
}

document.addEventListener("htmx:configRequest", ({ detail }) => {
  if (token() && detail.parameters.csrfmiddlewaretoken) detail.parameters.csrfmiddlewaretoken = token();
});
document.addEventListener("htmx:responseError", ({ detail }) => {
  // 403: the token ended with the session.
  if ([401, 403].includes(detail.xhr.status)) showMessage(gettext("You are signed out. Nothing was saved. Your entries stay on this page. Sign in, then come back and try again."), " ", signIn());
  else if (detail.xhr.status === 429) showMessage(gettext("Too many requests. Nothing was saved. Try again in a minute."));
  else showMessage(gettext("The service does not respond. Nothing was saved. Your entries stay on this page. Try again in a moment."));
});
document.addEventListener("htmx:sendError", () => showMessage(gettext("No connection. Nothing was saved. Your entries stay on this page. Try again when the connection is back.")));

function followAll() {
  for (const form of document.forms) follow(form);
}

document.addEventListener("change", followAll);
document.addEventListener("htmx:afterSwap", followAll);
followAll();
