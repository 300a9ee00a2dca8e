"use strict";
(async () => {
  const packed = document.getElementById("plotly");
  if (packed) {
    const bytes = Uint8Array.from(atob(packed.textContent.trim()), (char) => char.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    const script = document.createElement("script");
    script.textContent = await new Response(stream).text();
    document.head.append(script);
  }
  for (const plot of document.querySelectorAll(".plot")) {
    const name = plot.id.replace("plot-", "");
    const figure = JSON.parse(document.getElementById("data-" + name).textContent);
    await Plotly.newPlot(plot, figure.data, figure.layout, { responsive: true, displayModeBar: false });
  }
  document.documentElement.dataset.drawn = "yes";
})();
