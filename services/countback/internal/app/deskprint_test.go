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
	// 96 px an inch; the paper without margins of 10 mm.
	for paper, size := range map[string]struct{ width, height int64 }{"A4": {718, 1047}, "Letter": {740, 980}} {
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
	do(t, ctx, media("screen", 1280))
}
