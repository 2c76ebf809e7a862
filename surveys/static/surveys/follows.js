// Fields that belong to a choice are in sight while it is made: `data-when` names the choice and the values they belong to, or
// the choice alone for any but an empty one. Without a script all of them are.

export function follow(form) {
  for (const one of form.querySelectorAll("[data-when]")) {
    const [choice, ...values] = one.dataset.when.split(" ");
    const { value } = form.elements[choice];
    one.hidden = values.length ? !values.includes(value) : !value;
  }
}
