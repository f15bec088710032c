// Colours, type and line widths of a canvas, read from the page's style so that there is one place for them.

export interface Brush {
  ctx: CanvasRenderingContext2D;
  paper: string;
  paperPast: string;
  ink: string;
  inkSoft: string;
  rule: string;
  ruleStrong: string;
  grid: string;
  band90: string;
  band50: string;
  look: string;
  act: string;
  blue: string;
  green: string;
  purple: string;
  /** Size of a note, px. */
  text: number;
  /** Factor on line widths and dashes. */
  stroke: number;
  family: string;
}

export type Weight = 400 | 500 | 700;

export function readBrush(ctx: CanvasRenderingContext2D, element: Element): Brush {
  const style = getComputedStyle(element);
  const value = (name: string): string => style.getPropertyValue(name).trim();
  return {
    ctx,
    paper: value('--paper'),
    paperPast: value('--paper-past'),
    ink: value('--ink'),
    inkSoft: value('--ink-soft'),
    rule: value('--rule'),
    ruleStrong: value('--rule-strong'),
    grid: value('--grid'),
    band90: value('--band-90'),
    band50: value('--band-50'),
    look: value('--look'),
    act: value('--act'),
    blue: value('--series-blue'),
    green: value('--series-green'),
    purple: value('--series-purple'),
    text: parseFloat(style.fontSize) || 16,
    stroke: Number(value('--stroke')) || 1,
    family: value('--font'),
  };
}

export function font(brush: Brush, weight: Weight = 400, size = 1): string {
  return `${weight} ${Math.round(brush.text * size * 10) / 10}px ${brush.family}`;
}

export interface Writing {
  color?: string;
  weight?: Weight;
  size?: number;
  align?: CanvasTextAlign;
  /** Colour of the edge that keeps words readable over lines. */
  halo?: string | null;
}

/** Words at a baseline. */
export function write(brush: Brush, words: string, x: number, y: number, how: Writing = {}): void {
  const { ctx } = brush;
  ctx.font = font(brush, how.weight ?? 400, how.size ?? 1);
  ctx.textAlign = how.align ?? 'left';
  if (how.halo) {
    ctx.setLineDash([]);
    ctx.lineJoin = 'round';
    ctx.lineWidth = 5 * brush.stroke;
    ctx.strokeStyle = how.halo;
    ctx.strokeText(words, x, y);
  }
  ctx.fillStyle = how.color ?? brush.ink;
  ctx.fillText(words, x, y);
}

export function line(
  brush: Brush,
  points: readonly (readonly [number, number])[],
  color: string,
  width: number,
  dash: readonly number[] = [],
): void {
  const { ctx } = brush;
  const first = points[0];
  if (!first) return;
  ctx.beginPath();
  ctx.moveTo(first[0], first[1]);
  for (let i = 1; i < points.length; i += 1) {
    const p = points[i];
    if (p) ctx.lineTo(p[0], p[1]);
  }
  ctx.strokeStyle = color;
  ctx.lineWidth = width * brush.stroke;
  ctx.lineJoin = 'round';
  ctx.lineCap = 'butt';
  ctx.setLineDash(dash.map((d) => d * brush.stroke));
  ctx.stroke();
  ctx.setLineDash([]);
}

/** Closes the path, fills it and draws its outline. */
function filled(brush: Brush, color: string): void {
  const { ctx } = brush;
  ctx.closePath();
  ctx.fillStyle = color;
  ctx.fill();
  ctx.lineJoin = 'round';
  ctx.lineWidth = 1.3 * brush.stroke;
  ctx.strokeStyle = brush.ink;
  ctx.stroke();
}

export function triangle(brush: Brush, x: number, y: number, size: number): void {
  const { ctx } = brush;
  ctx.beginPath();
  ctx.moveTo(x, y - size * 0.95);
  ctx.lineTo(x + size * 0.86, y + size * 0.6);
  ctx.lineTo(x - size * 0.86, y + size * 0.6);
  filled(brush, brush.look);
}

export function octagon(brush: Brush, x: number, y: number, size: number): void {
  const { ctx } = brush;
  const [r, cut] = [size * 0.86, size * 0.38];
  ctx.beginPath();
  for (const [dx, dy] of [
    [-cut, -r],
    [cut, -r],
    [r, -cut],
    [r, cut],
    [cut, r],
    [-cut, r],
    [-r, cut],
    [-r, -cut],
  ] as const) {
    ctx.lineTo(x + dx, y - size * 0.12 + dy);
  }
  filled(brush, brush.act);
}

export function dot(brush: Brush, x: number, y: number, radius: number, filled: boolean): void {
  const { ctx } = brush;
  ctx.beginPath();
  ctx.arc(x, y, radius * brush.stroke + 1.5, 0, Math.PI * 2);
  ctx.fillStyle = brush.paper;
  ctx.fill();
  ctx.beginPath();
  ctx.arc(x, y, radius * brush.stroke - (filled ? 0 : 1.25), 0, Math.PI * 2);
  ctx.fillStyle = filled ? brush.ink : brush.paper;
  ctx.fill();
  if (!filled) {
    ctx.lineWidth = 2.5 * brush.stroke;
    ctx.strokeStyle = brush.ink;
    ctx.stroke();
  }
}

/** An upright line through a box. */
export function upright(
  brush: Brush,
  x: number,
  box: { y: number; h: number },
  color: string,
  width: number,
  dash: readonly number[] = [],
): void {
  line(
    brush,
    [
      [x, box.y],
      [x, box.y + box.h],
    ],
    color,
    width,
    dash,
  );
}

/** A level line through a box. */
export function level(
  brush: Brush,
  y: number,
  box: { x: number; w: number },
  color: string,
  width: number,
): void {
  line(
    brush,
    [
      [box.x, y],
      [box.x + box.w, y],
    ],
    color,
    width,
  );
}

/** Width of a note, px. */
export function widthOf(brush: Brush, words: string, weight: Weight = 400): number {
  brush.ctx.font = font(brush, weight);
  return brush.ctx.measureText(words).width;
}
