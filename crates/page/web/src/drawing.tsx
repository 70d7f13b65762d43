// The plan drawn: the sheet with its holes, and what is laid over it. Millimetres, y up as the plan has it.

import type { ComponentChildren } from "preact";
import type { Plan } from "./state";

export interface Frame {
  x: (mm: number) => number;
  y: (mm: number) => number;
  /** A hundredth of the drawing's longer side, mm. */
  unit: number;
}

export function Drawing(p: {
  plan: Plan;
  label: string;
  /** Room round the sheet, mm: left, bottom, right, top. */
  room?: [number, number, number, number];
  chosen?: (hole: string) => boolean;
  done?: (hole: string) => boolean;
  pick?: (hole: string) => void;
  stale?: boolean;
  over?: (frame: Frame) => ComponentChildren;
}) {
  const { plan } = p;
  const long = Math.max(plan.width, plan.height);
  const [left, bottom, right, top] = (p.room ?? [0, 0, 0, 0]).map((mm) => mm + long * 0.03) as [number, number, number, number];
  const width = plan.width + left + right;
  const height = plan.height + bottom + top;
  const unit = Math.max(width, height) / 100;
  const frame: Frame = { x: (mm) => mm + left, y: (mm) => plan.height + top - mm, unit };
  // As large as the rivet, but seen, and apart from its neighbours.
  const r = Math.min(Math.max((plan.rivet ?? 3) / 2, unit * 0.7), nearest(plan) * 0.45);
  return (
    <svg class={`drawing${p.stale ? " stale" : ""}`} viewBox={`0 0 ${width} ${height}`} role="img" aria-label={p.label}>
      <rect x={frame.x(0)} y={frame.y(plan.height)} width={plan.width} height={plan.height} class="sheet" stroke-width={unit * 0.4} />
      {p.over?.(frame)}
      {plan.drilled.map((h) => <circle cx={frame.x(h.at[0])} cy={frame.y(h.at[1])} r={r} class="drilled" />)}
      {plan.holes.map((h) => {
        const state = p.chosen?.(h.name) ? " chosen" : p.done?.(h.name) ? " done" : "";
        return (
          <g class={`hole${state}`} onClick={p.pick && (() => p.pick!(h.name))}>
            <circle cx={frame.x(h.at[0])} cy={frame.y(h.at[1])} r={state === " chosen" ? r * 1.6 : r} stroke-width={unit * 0.3} />
            <title>{h.name}</title>
          </g>
        );
      })}
      {names(plan).map(([name, x, y]) => (
        <text x={frame.x(x)} y={frame.y(y)} font-size={unit * 3.6} class="name">{name}</text>
      ))}
      <path d={`M${frame.x(0)} ${frame.y(0)}v${-unit * 5}M${frame.x(0)} ${frame.y(0)}h${unit * 5}`} class="origin" stroke-width={unit * 0.8} />
    </svg>
  );
}

/** Distance of the two holes that are closest, mm. */
function nearest(plan: Plan): number {
  let least = Infinity;
  const { holes } = plan;
  for (let i = 0; i < holes.length; i++) {
    for (let j = i + 1; j < Math.min(holes.length, i + 60); j++) {
      least = Math.min(least, Math.hypot(holes[i]!.at[0] - holes[j]!.at[0], holes[i]!.at[1] - holes[j]!.at[1]));
    }
  }
  return least;
}

/** The name of each row beside its first hole, inward; of each single hole beside it. */
function names(plan: Plan): [string, number, number][] {
  const step = Math.max(plan.width, plan.height) * 0.035;
  const seen = new Set<string>();
  const out: [string, number, number][] = [];
  for (const h of plan.holes) {
    const name = h.row ?? h.name;
    if (seen.has(name) || out.length > 40) continue;
    seen.add(name);
    const inward = h.at[1] > plan.height / 2 ? -step * 1.6 : step * 0.7;
    out.push([name, h.at[0] + (h.at[0] > plan.width * 0.9 ? -step * 1.5 : step * 0.4), h.at[1] + inward]);
  }
  return out;
}
