// A code or a key stands in the fragment of the address: no server and no log ever sees it there.
const given = new URLSearchParams(location.hash.slice(1));
const secret = given.get("key") || given.get("code");
if (secret) {
  history.replaceState(null, "", location.pathname);
  const form = document.getElementById("pair");
  form.elements.code.value = secret;
  if (given.get("key")) {
    form.hidden = true;
    document.getElementById("opening").hidden = false;
    form.submit();
  } else {
    form.elements.name.focus();
  }
}
