// The page: where one is, and the view of it.

import { render } from "preact";
import { useEffect, useRef } from "preact/hooks";
import * as store from "./store";
import { type View, app, change, keepNow, open, planIsGood, tell, useApp } from "./state";
import { AnswerView } from "./view-answer";
import { BookView } from "./view-book";
import { CardsView } from "./view-cards";
import { MarkView } from "./view-mark";
import { PhotoView } from "./view-photo";
import { PlanView } from "./view-plan";

const VIEWS: { view: View; word: string; icon: string; show: () => preact.JSX.Element; open: () => boolean }[] = [
  { view: "plan", word: "Plan", icon: "M4 4h16v16H4zM8 8h.01M12 8h.01M16 8h.01M8 16h.01M12 16h.01M16 16h.01", show: PlanView, open: () => true },
  { view: "mark", word: "Mark", icon: "M3 15h18M7 11v8M12 11v8M17 11v8M12 3v4", show: MarkView, open: planIsGood },
  { view: "cards", word: "Cards", icon: "M5 5h6v6H5zM13 13h6v6h-6zM15 5h4v4h-4zM5 15h4v4H5z", show: CardsView, open: () => true },
  { view: "photo", word: "Photo", icon: "M4 7h4l2-3h4l2 3h4v12H4zM12 9a4 4 0 100 8 4 4 0 000-8z", show: PhotoView, open: planIsGood },
  { view: "answer", word: "Answer", icon: "M4 12l5 6L20 5", show: AnswerView, open: () => app.check !== null },
  { view: "book", word: "Book", icon: "M5 4h12a2 2 0 012 2v14H7a2 2 0 01-2-2zM9 9h6M9 13h6", show: BookView, open: () => true },
];

function Page() {
  const { view, piece, told } = useApp();
  const main = useRef<HTMLElement>(null);
  const here = VIEWS.find((v) => v.view === view)!;
  const Shown = here.show;
  useEffect(() => {
    document.title = `${here.word}${piece ? `: ${piece.title}` : ""} – punchready`;
    scrollTo(0, 0);
  }, [view]);
  return (
    <>
      <a class="skip" href="#content" onClick={(e) => { e.preventDefault(); main.current?.focus(); }}>To the content</a>
      <nav aria-label="Steps">
        {VIEWS.map((v) => (
          <a
            href={v.open() ? `#${v.view}` : undefined} role="link" aria-current={v.view === view ? "page" : undefined} aria-disabled={!v.open()}
            class={v.open() ? "" : "shut"}
          >
            <svg viewBox="0 0 24 24" aria-hidden="true"><path d={v.icon} /></svg>
            <span>{v.word}</span>
          </a>
        ))}
      </nav>
      <main ref={main} id="content" tabIndex={-1}>
        {told && (
          <div class={`notice told${told.grave ? " grave" : ""}`} role={told.grave ? "alert" : "status"}>
            <p>{told.text.charAt(0).toUpperCase() + told.text.slice(1)}{told.hint && <><br /><em>{told.hint}</em></>}</p>
            <button class="button quiet" onClick={() => change({ told: null })}>Close</button>
          </div>
        )}
        <Shown />
      </main>
    </>
  );
}

function follow(): void {
  const view = location.hash.slice(1) as View;
  const known = VIEWS.find((v) => v.view === view);
  change({ view: known?.open() ? view : "plan", told: null });
}

addEventListener("hashchange", follow);
// A phone may end the page whenever it is not in sight.
addEventListener("visibilitychange", keepNow);
addEventListener("pagehide", keepNow);

async function start(): Promise<void> {
  const box = document.getElementById("page")!;
  try {
    const pieces = (await store.all("pieces")).sort((a, b) => b.changed - a.changed);
    if (pieces[0] && !app.piece) await open(pieces[0]);
  } catch (e) {
    tell(e);
  }
  follow();
  box.replaceChildren();
  render(<Page />, box);
  if (document.documentElement.hasAttribute("data-served") && "serviceWorker" in navigator) {
    // Without it the page works, but needs the server at each start.
    navigator.serviceWorker.register("sw.js").catch(() => undefined);
  }
}

void start();
