// “Use where I am”: fills in the place from which distances are counted.

const button = document.querySelector("[data-here]");
const said = document.querySelector("[data-here-said]");
const input = document.querySelector("[name=near]");

if (button && input && "geolocation" in navigator) {
  button.hidden = false;
  button.addEventListener("click", () => {
    said.textContent = "Asking the phone where you are …";
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        input.value = `${coords.latitude.toFixed(4)}, ${coords.longitude.toFixed(4)}`;
        input.form.elements.order.value = "distance";
        input.form.requestSubmit();
      },
      () => {
        said.textContent = "The phone does not say. Write a bridge’s name instead.";
      },
      { timeout: 15000, maximumAge: 300000 },
    );
  });
}
