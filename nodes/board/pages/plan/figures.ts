/** Figures as people read them. */
export const figure = (x: number): string => {
  const size = Math.abs(x);
  return size >= 100 ? x.toFixed(0) : size >= 10 ? x.toFixed(1) : x.toFixed(2);
};

export const percent = (x: number): string => `${figure(x)} %`;
