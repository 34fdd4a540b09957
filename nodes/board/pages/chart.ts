/** The chart itself, in the colours of the page. */
import uPlot from 'uplot';
import 'uplot/dist/uPlot.min.css';

export function makeChart(box: HTMLElement, height: number): uPlot {
  const colours = getComputedStyle(box);
  const axis = { stroke: colours.color, grid: { stroke: colours.borderTopColor, width: 1 }, ticks: { show: false } };
  return new uPlot(
    {
      width: box.clientWidth,
      height,
      legend: { show: false },
      cursor: { show: false },
      scales: { y: { range: (_u, _least, most) => [0, Math.max(1, most * 1.1)] } },
      series: [{}, { stroke: colours.getPropertyValue('--accent'), width: 2 }],
      axes: [axis, { ...axis, size: 44 }],
    },
    [[], []],
    box,
  );
}
