// Where no time zone is chosen yet, that of the reader's own device is proposed.
const field = document.querySelector('select[name="zone"]');
if (field && !field.value) {
  const own = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if ([...field.options].some((one) => one.value === own)) field.value = own;
}
