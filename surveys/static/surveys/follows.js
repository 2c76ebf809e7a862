// Shows fields that depend on a choice: `data-when` names the choice and the values for which a field is shown, or the choice alone
// for any value but the empty one. Without a script all fields are shown.

export function follow(form) {
  for (const one of form.querySelectorAll("[data-when]")) {
    const [choice, ...values] = one.dataset.when.split(" ");
    const { value } = form.elements[choice];
    one.hidden = values.length ? !values.includes(value) : !value;
  }
}
