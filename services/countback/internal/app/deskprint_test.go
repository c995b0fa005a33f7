package app

import (
	"context"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// What is printed of a case can be read on paper: the letters of the picture are
// at least 8 pt high, and the picture is cut between rows and not through them.
func deskPrinted(t *testing.T, ctx context.Context, a *App) {
	media := func(kind string, width int64) chromedp.Action[chromedp.Void] {
		return chromedp.Steps(chromedp.EmulateViewport(width, 1000), chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
			_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: kind})
			return err
		}))
	}
	// 96 px an inch; the paper without margins of 10 mm, and 15 at the foot.
	for paper, size := range map[string]struct{ width, height int64 }{"A4": {718, 1028}, "Letter": {740, 961}} {
		do(t, ctx, media("print", size.width), chromedp.Navigate(a.DeskURL()+"/case/"+caseOf(t, a, "Ravensbourne", "held")))
		smallest, err := chromedp.Run(ctx, chromedp.Evaluate[float64](`Math.min(...[...document.querySelectorAll(".axis text")].filter(t => t.getClientRects().length).map(
			t => parseFloat(getComputedStyle(t).fontSize) * t.ownerSVGElement.getBoundingClientRect().width / t.ownerSVGElement.viewBox.baseVal.width * 72 / 96))`))
		require.NoError(t, err)
		require.GreaterOrEqual(t, smallest, 8.0, paper)
		require.Less(t, smallest, 14.0, "%s: what is measured is what is shown", paper)
		fits, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(() => {
			const shown = [...document.querySelectorAll(".paper")].filter(f => f.getClientRects().length);
			const names = [...document.querySelectorAll(".paper .name")], box = n => n.getBoundingClientRect();
			if (shown.length < 2) return "not in parts: " + shown.length;
			if (names.length != new Set(document.querySelectorAll(".scroll .name")).size) return "rows are lost: " + names.length;
			if (names.some(n => box(n).left < -1)) return "a name is cut";
			return "" + Math.max(...shown.map(f => box(f).height)) })()`))
		require.NoError(t, err)
		require.Regexp(t, `^[0-9.]+$`, fits, paper)
		tallest, err := chromedp.Run(ctx, chromedp.Evaluate[int64](`Math.ceil(Math.max(...[...document.querySelectorAll(".paper")].map(f => f.getBoundingClientRect().height)))`))
		require.NoError(t, err)
		require.Less(t, tallest, size.height, "a part is taller than a page of %s", paper)
	}
	do(t, ctx, media("print", 718))
	deskListsPrinted(t, ctx, a)
	do(t, ctx, media("", 1280)) // as it is: the browser prints for paper by itself
	deskOnPaper(t, ctx, a)
}

// Lists are printed as tables, with no form, button or navigation: paper is narrower
// than a window, and is no phone. The caution stands on the first page.
func deskListsPrinted(t *testing.T, ctx context.Context, a *App) {
	for _, path := range []string{"", "/cases", "/weeks", "/programme", "/case/" + caseOf(t, a, "Ravensbourne", "held")} {
		do(t, ctx, chromedp.Navigate(a.DeskURL()+path))
		bad, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(() => {
			const shown = e => e.getClientRects().length > 0, all = s => [...document.querySelectorAll(s)].filter(shown), out = [];
			for (const s of ["form", "button", "nav", "input", ".me", ".acts", "a[href$='.csv']"]) if (all(s).length) out.push(s + " is printed");
			for (const r of all("main table tr")) if (getComputedStyle(r).display != "table-row") out.push("a row is no row");
			for (const t of all("main table")) if (t.getBoundingClientRect().right > innerWidth + 1) out.push("a table is cut");
			for (const t of all(".plot text")) if (parseFloat(getComputedStyle(t).fontSize) * t.ownerSVGElement.getBoundingClientRect().width / 900 * .75 < 7.9) out.push("letters of a plot are small");
			const caution = all(".onpaper")[0];
			if (!caution || caution.getBoundingClientRect().top > 300) out.push("no caution at the top");
			return [...new Set(out)].join("; ") })()`))
		require.NoError(t, err)
		require.Empty(t, bad, path)
	}
}

// The PDF that the browser makes has few enough pages to be taken along (as laid out for
// a phone the morning had 30), and the style that names each page was let through.
func deskOnPaper(t *testing.T, ctx context.Context, a *App) {
	for path, most := range map[string]int{"": 14, "/case/" + caseOf(t, a, "Ravensbourne", "held"): 7} {
		do(t, ctx, chromedp.Navigate(a.DeskURL()+path))
		own, err := chromedp.Run(ctx, chromedp.Evaluate[string](`[...document.styleSheets].filter(s => !s.href).map(s => s.cssRules[0].cssText).join("")`))
		require.NoError(t, err)
		require.Contains(t, own, "@page", "the policy of the page lets its own style through")
		require.Contains(t, own, " · as of ", "read as it was written")
		pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF())
		require.NoError(t, err)
		pages := len(mediaBox.FindAll(pdf, -1))
		require.Positive(t, pages)
		require.LessOrEqual(t, pages, most, path)
	}
}
