// Builds the page: the library for WebAssembly, the program, and both in one file.
//
//   target/page/punchready.html   one self-contained file
//   target/page/app/              the same with manifest and service worker, to be served: installable, offline

import { execFileSync } from "node:child_process";
import { createHash } from "node:crypto";
import { existsSync, mkdirSync, readFileSync, readdirSync, rmSync, statSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { gzipSync } from "node:zlib";
import { build } from "esbuild";

const here = dirname(fileURLToPath(import.meta.url));
const root = join(here, "../../..");
const target = join(root, "target");
const TRIPLE = "wasm32-unknown-unknown";
/** Where Debian's rustc-web, cargo-web and rust-web-src put theirs. */
const DEBIAN = { cargo: "/usr/bin/cargo", rustc: "/usr/bin/rustc", source: "/usr/lib/rustlib/src/rust/library" };

const run = (program, args, env = {}) =>
  execFileSync(program, args, { cwd: root, stdio: ["ignore", "pipe", "inherit"], env: { ...process.env, ...env } }).toString().trim();

/** How this machine can compile for WebAssembly, or null. */
export function compiler() {
  const sysroot = (() => {
    try {
      return run("rustc", ["--print", "sysroot"]);
    } catch {
      return null;
    }
  })();
  const host = sysroot && readdirSync(join(sysroot, "lib/rustlib")).find((d) => existsSync(join(sysroot, "lib/rustlib", d, "bin/rust-lld")));
  if (sysroot && existsSync(join(sysroot, "lib/rustlib", TRIPLE))) return { cargo: "cargo", args: [], env: {}, flags: [] };
  if (Object.values(DEBIAN).every(existsSync)) {
    // The standard library is built from its source; the linker is the toolchain's own or LLVM's.
    const linker = ["/usr/bin/rust-lld", "/usr/bin/wasm-ld", host && join(sysroot, "lib/rustlib", host, "bin/rust-lld")].find((l) => l && existsSync(l));
    if (linker) {
      return {
        cargo: DEBIAN.cargo,
        args: ["-Z", "build-std=std,panic_abort"],
        env: { RUSTC: DEBIAN.rustc, RUSTC_BOOTSTRAP: "1" },
        flags: ["-C", `linker=${linker}`],
      };
    }
  }
  try {
    run("rustup", ["target", "add", TRIPLE]);
    return { cargo: "cargo", args: [], env: {}, flags: [] };
  } catch {
    return null;
  }
}

function library() {
  const with_ = compiler();
  if (!with_) {
    console.error("page: no compiler for WebAssembly here: rustup target add wasm32-unknown-unknown, or Debian's rustc-web cargo-web rust-web-src");
    process.exit(3);
  }
  const flags = ["-C", "target-feature=+simd128", ...with_.flags];
  run(
    with_.cargo,
    ["build", "--package", "page", "--profile", "page", "--target", TRIPLE, "--target-dir", join(target, "page-build"), "--locked", ...with_.args],
    { CARGO_ENCODED_RUSTFLAGS: flags.join("\x1f"), ...with_.env },
  );
  return readFileSync(join(target, "page-build", TRIPLE, "page/page.wasm"));
}

const bundle = async (entry, plugins = []) => {
  const done = await build({
    entryPoints: [join(here, "src", entry)],
    bundle: true,
    minify: true,
    write: false,
    target: ["es2022"],
    format: "iife",
    charset: "utf8",
    jsx: "automatic",
    jsxImportSource: "preact",
    legalComments: "none",
    plugins,
  });
  return done.outputFiles[0].text.trim();
};

/** `import source from "worker-source"`: the worker, bundled, as text. */
const workerSource = (text) => ({
  name: "worker-source",
  setup(builder) {
    builder.onResolve({ filter: /^worker-source$/ }, () => ({ path: "worker", namespace: "worker-source" }));
    builder.onLoad({ filter: /.*/, namespace: "worker-source" }, () => ({ contents: text, loader: "text" }));
  },
});

const hash = (text) => `'sha256-${createHash("sha256").update(text, "utf8").digest("base64")}'`;

const wasm = process.argv.includes("--reuse")
  ? readFileSync(join(target, "page-build", TRIPLE, "page/page.wasm"))
  : library();
const script = await bundle("main.tsx", [workerSource(await bundle("worker.ts"))]);
// The report's own script runs when a report is shown in a frame of the page.
const reportScript = readFileSync(join(root, "src/report/page.js"), "utf8");
const style = (await build({ entryPoints: [join(here, "src/style.css")], bundle: true, minify: true, write: false })).outputFiles[0].text.trim();
const icon = readFileSync(join(here, "src/icon.svg"), "utf8").trim();
const iconUri = `data:image/svg+xml,${encodeURIComponent(icon)}`;
const safe = (text) => text.replaceAll("</script", "<\\/script");
const program = safe(script);

function page(served) {
  const policy = [
    "default-src 'none'",
    `script-src ${hash(program)} ${hash(reportScript)} 'wasm-unsafe-eval'`,
    `worker-src blob:${served ? " 'self'" : ""}`,
    // Reports bring their own styles; without a network a style can do no harm.
    "style-src 'unsafe-inline'",
    "img-src blob: data:",
    ...(served ? ["manifest-src 'self'"] : []),
    "base-uri 'none'",
    "form-action 'none'",
  ].join("; ");
  return `<!DOCTYPE html>
<html lang="en"${served ? " data-served" : ""}><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="${policy}">
<meta name="viewport" content="width=device-width, initial-scale=1, viewport-fit=cover">
<meta name="color-scheme" content="light dark">
<title>punchready</title>
<link rel="icon" href="${iconUri}">${served ? '\n<link rel="manifest" href="manifest.webmanifest">' : ""}
<style>${style}</style></head>
<body><div id="page"><p class="waiting">Loading…</p></div>
<noscript><p>This page measures in your browser: switch scripts on for it. Nothing is sent anywhere.</p></noscript>
<script type="application/octet-stream" id="library">${gzipSync(wasm, { level: 9 }).toString("base64")}</script>
<script>${program}</script></body></html>
`;
}

const out = join(target, "page");
rmSync(out, { recursive: true, force: true });
mkdirSync(join(out, "app"), { recursive: true });
const single = page(false);
const served = page(true);
writeFileSync(join(out, "punchready.html"), single);
writeFileSync(join(out, "app/index.html"), served);
writeFileSync(join(out, "app/icon.svg"), icon);
writeFileSync(
  join(out, "app/manifest.webmanifest"),
  JSON.stringify({
    name: "punchready", short_name: "punchready", start_url: "./", display: "standalone",
    background_color: "#15191c", theme_color: "#15191c",
    description: "A second pair of eyes before the centre punch",
    icons: [{ src: "icon.svg", sizes: "any", type: "image/svg+xml", purpose: "any" }],
  }),
);
const version = createHash("sha256").update(served).digest("hex").slice(0, 12);
writeFileSync(join(out, "app/sw.js"), readFileSync(join(here, "src/sw.js"), "utf8").replace("VERSION", version));

const kb = (n) => `${(n / 1e6).toFixed(2)} MB`;
console.log(`library ${kb(wasm.length)}, program ${kb(script.length)}; punchready.html ${kb(statSync(join(out, "punchready.html")).size)}, compressed ${kb(gzipSync(single, { level: 9 }).length)}`);
