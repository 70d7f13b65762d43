// A picture to zoom and move with fingers, mouse or keys, with the signs over it; and a place of a photo, enlarged.

import { useEffect, useRef, useState } from "preact/hooks";
import type { Place, Shot } from "./store";

/** Largest zoom: a pixel of the photo is then several of the screen. */
const MOST = 24;
const LEAST = 1;
/** Up to this zoom a smaller copy is shown: a photo of 12 megapixels takes 48 MB of the phone's memory. */
const COPY_ZOOM = 2.5;
const COPY_PX = 1600;

/** A finger that moves less than this means the place that it touches, px of the screen. */
const STILL_PX = 8;

export function Viewer(p: {
  shot: Shot;
  signs: string;
  size: [number, number];
  label: string;
  /** A place of the photo was touched, px, and how many of them a finger covers. */
  touch?: (at: [number, number], reach: number) => void;
}) {
  const frame = useRef<HTMLDivElement>(null);
  const over = useRef<HTMLDivElement>(null);
  const [url, setUrl] = useState("");
  const [at, setAt] = useState({ s: 1, x: 0, y: 0 });
  const near = at.s > COPY_ZOOM;
  const [showSigns, setShowSigns] = useState(true);
  useEffect(() => {
    let made = "";
    let gone = false;
    (near ? Promise.resolve(p.shot.file) : copy(p.shot.file, COPY_PX)).then((shown) => {
      if (gone) return;
      made = URL.createObjectURL(shown);
      setUrl(made);
    }, () => undefined);
    return () => {
      gone = true;
      // After the other is shown.
      setTimeout(() => URL.revokeObjectURL(made), 2000);
    };
  }, [p.shot.file, near]);
  useEffect(() => {
    const drawn = new DOMParser().parseFromString(p.signs, "image/svg+xml").documentElement;
    over.current?.replaceChildren(document.importNode(drawn, true));
  }, [p.signs]);

  /** The picture never leaves the frame. */
  const held = (s: number, x: number, y: number) => {
    const box = frame.current!.getBoundingClientRect();
    const scale = Math.min(MOST, Math.max(LEAST, s));
    const hold = (v: number, size: number) => Math.min(0, Math.max(size * (1 - scale), v));
    setAt({ s: scale, x: hold(x, box.width), y: hold(y, box.height) });
  };
  const zoom = (by: number, cx?: number, cy?: number) => {
    const box = frame.current!.getBoundingClientRect();
    const [px, py] = [cx ?? box.width / 2, cy ?? box.height / 2];
    const s = Math.min(MOST, Math.max(LEAST, at.s * by));
    held(s, px - ((px - at.x) * s) / at.s, py - ((py - at.y) * s) / at.s);
  };

  const fingers = useRef(new Map<number, { x: number; y: number }>());
  const began = useRef<{ x: number; y: number } | null>(null);
  const place = (e: PointerEvent) => {
    const box = frame.current!.getBoundingClientRect();
    return { x: e.clientX - box.left, y: e.clientY - box.top };
  };
  const moved = (e: PointerEvent) => {
    const before = fingers.current.get(e.pointerId);
    if (!before) return;
    const now = place(e);
    const all = [...fingers.current.values()];
    if (all.length === 1) held(at.s, at.x + now.x - before.x, at.y + now.y - before.y);
    else {
      const other = all.find((f) => f !== before)!;
      const was = Math.hypot(before.x - other.x, before.y - other.y);
      const is = Math.hypot(now.x - other.x, now.y - other.y);
      if (was > 0) zoom(is / was, (now.x + other.x) / 2, (now.y + other.y) / 2);
    }
    fingers.current.set(e.pointerId, now);
  };
  const keys: Record<string, () => void> = {
    "+": () => zoom(1.5), "=": () => zoom(1.5), "-": () => zoom(1 / 1.5), "0": () => held(1, 0, 0),
    ArrowLeft: () => held(at.s, at.x + 60, at.y), ArrowRight: () => held(at.s, at.x - 60, at.y),
    ArrowUp: () => held(at.s, at.x, at.y + 60), ArrowDown: () => held(at.s, at.x, at.y - 60),
  };
  useEffect(() => {
    // Not passive: the page must not scroll while the picture zooms.
    const wheel = (e: WheelEvent) => {
      e.preventDefault();
      const box = frame.current!.getBoundingClientRect();
      zoom(Math.exp(-e.deltaY / 400), e.clientX - box.left, e.clientY - box.top);
    };
    const node = frame.current!;
    node.addEventListener("wheel", wheel, { passive: false });
    return () => node.removeEventListener("wheel", wheel);
  });
  return (
    <figure class="viewer">
      <div
        ref={frame} class="frame" tabIndex={0} role="application" aria-label={`${p.label}. Plus and minus zoom, arrows move.`}
        style={{ aspectRatio: `${p.size[0]} / ${p.size[1]}`, touchAction: at.s > 1 ? "none" : "pan-y" }}
        onPointerDown={(e) => {
          began.current = fingers.current.size ? null : place(e);
          fingers.current.set(e.pointerId, place(e));
          e.currentTarget.setPointerCapture(e.pointerId);
        }}
        onPointerMove={moved}
        onPointerUp={(e) => {
          fingers.current.delete(e.pointerId);
          const [from, to] = [began.current, place(e)];
          if (!from || Math.hypot(to.x - from.x, to.y - from.y) > STILL_PX) return;
          const px = p.size[0] / frame.current!.clientWidth / at.s;
          p.touch?.([(to.x - at.x) * px, (to.y - at.y) * px], 28 * px);
        }}
        onPointerCancel={(e) => fingers.current.delete(e.pointerId)}
        onDblClick={(e) => {
          const box = frame.current!.getBoundingClientRect();
          if (at.s > 1) held(1, 0, 0);
          else zoom(4, e.clientX - box.left, e.clientY - box.top);
        }}
        onKeyDown={(e) => {
          const act = keys[e.key];
          if (act) {
            e.preventDefault();
            act();
          }
        }}
      >
        <div class="moved" style={{ transform: `translate(${at.x}px, ${at.y}px) scale(${at.s})` }}>
          {url && <img src={url} alt="" draggable={false} />}
          <div ref={over} class="signs" hidden={!showSigns} />
        </div>
      </div>
      <div class="buttons tight">
        <button class="button" aria-label="Zoom in" onClick={() => zoom(1.6)}>+</button>
        <button class="button" aria-label="Zoom out" onClick={() => zoom(1 / 1.6)}>−</button>
        <button class="button" onClick={() => held(1, 0, 0)}>Whole</button>
        <button class="button" aria-pressed={showSigns} onClick={() => setShowSigns(!showSigns)}>Signs</button>
      </div>
    </figure>
  );
}

/** The photo, made smaller. */
export async function copy(photo: Blob, width: number): Promise<Blob> {
  const picture = await createImageBitmap(photo, { resizeWidth: width, resizeQuality: "medium" });
  const canvas = new OffscreenCanvas(picture.width, picture.height);
  canvas.getContext("2d")!.drawImage(picture, 0, 0);
  picture.close();
  return canvas.convertToBlob({ type: "image/jpeg", quality: 0.85 });
}

/** Half the side of an enlarged place, mm. */
const HALF_MM = 8;
const SIDE_PX = 480;

/** The photo round a place: where the mark should be, within which circle, and where it was found. */
export function Crop(p: { shot: Shot; place: Place; tolerance: number; label: string }) {
  const canvas = useRef<HTMLCanvasElement>(null);
  const scale = p.place.px_per_mm ?? 10;
  const middle = p.place.pixel;
  useEffect(() => {
    let gone = false;
    (async () => {
      if (!canvas.current) return;
      const half = HALF_MM * scale;
      const picture = await createImageBitmap(p.shot.file, Math.round(middle[0] - half), Math.round(middle[1] - half), Math.round(2 * half), Math.round(2 * half), { resizeWidth: SIDE_PX, resizeHeight: SIDE_PX, resizeQuality: "high" });
      if (!gone && canvas.current) draw(canvas.current, picture, p, middle, SIDE_PX / (2 * half), scale);
      picture.close();
    })().catch(() => undefined);
    return () => {
      gone = true;
    };
  }, [p.shot.file, p.place]);
  return <canvas ref={canvas} class="crop" width={SIDE_PX} height={SIDE_PX} role="img" aria-label={p.label} />;
}

function draw(canvas: HTMLCanvasElement, picture: ImageBitmap, p: { place: Place; tolerance: number }, middle: [number, number], zoom: number, scale: number): void {
  const c = canvas.getContext("2d")!;
  c.drawImage(picture, 0, 0, SIDE_PX, SIDE_PX);
  const to = ([x, y]: [number, number]): [number, number] => [(x - middle[0]) * zoom + SIDE_PX / 2, (y - middle[1]) * zoom + SIDE_PX / 2];
  const twice = (path: () => void, colour: string, width: number) => {
    // Light below dark, so that it shows on any metal.
    for (const [ink, wide] of [["#fff", width + 4], [colour, width]] as const) {
      c.strokeStyle = ink;
      c.lineWidth = wide;
      c.beginPath();
      path();
      c.stroke();
    }
  };
  if (p.place.planned) {
    const [x, y] = to(p.place.planned);
    const r = p.tolerance * scale * zoom;
    twice(() => c.arc(x, y, r, 0, 7), "#0b5a8a", 3);
    twice(() => {
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]] as const) {
        c.moveTo(x + dx * r, y + dy * r);
        c.lineTo(x + dx * (r + 16), y + dy * (r + 16));
      }
    }, "#0b5a8a", 3);
  }
  const found = p.place.found ?? (p.place.planned ? null : middle);
  if (found) {
    const [x, y] = to(found);
    // Corners round the ink: nothing is drawn over it.
    const h = 44;
    twice(() => {
      for (const [dx, dy] of [[1, 1], [1, -1], [-1, 1], [-1, -1]] as const) {
        c.moveTo(x + dx * h, y + dy * (h - 16));
        c.lineTo(x + dx * h, y + dy * h);
        c.lineTo(x + dx * (h - 16), y + dy * h);
      }
    }, "#b84a00", 4);
  }
}
