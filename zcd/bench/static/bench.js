// Says so where the server is not reached; what was typed stays in its field.
document.addEventListener("htmx:error", () => {
  document.getElementById("unreached").textContent =
    "zcd does not answer. Start zcd bench again: what you have typed stays here, and what was entered is kept in the job file.";
});
document.addEventListener("htmx:after:request", () => {
  document.getElementById("unreached").textContent = "";
});
