"use strict";
window.addEventListener("DOMContentLoaded", () => {
  SwaggerUIBundle({
    url: document.getElementById("docs").dataset.openapi,
    dom_id: "#docs",
    deepLinking: true,
    defaultModelsExpandDepth: 0,
    displayRequestDuration: true,
    validatorUrl: null,
    presets: [SwaggerUIBundle.presets.apis],
  });
});
