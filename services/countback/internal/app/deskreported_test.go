package app

import (
	"context"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// A chest pain that was reported stands before everything in the morning; the
// nurse reads the report, and says what was decided before it closes.
func deskReported(t *testing.T, ctx context.Context, a *App) {
	sayWho(t, ctx, a, "Idony Quillfeather", "/desk")
	first, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.querySelector("#main section").innerText`))
	require.NoError(t, err)
	require.Contains(t, first, "Fenwin Gravelbloom")
	require.Contains(t, first, "call the person now")
	calls, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.getElementById("calls").parentElement.querySelector("tbody tr").innerText`))
	require.NoError(t, err)
	require.Contains(t, calls, "Fenwin Gravelbloom")
	quick, err := chromedp.Run(ctx, chromedp.Evaluate[int](`document.querySelector("#main section").querySelectorAll("form.quick").length`))
	require.NoError(t, err)
	require.Zero(t, quick, "no press without a word closes it")
	accessible(t, ctx, "a report before all")
	shot(t, ctx, "morning-reported")
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/case/"+caseOf(t, a, "Gravelbloom", "home")))
	require.Contains(t, text(t, ctx, "ul.why"), "call the person now")
	click(t, ctx, `a[href^="/desk/answers/"]`)
	require.Contains(t, strings.Join(strings.Fields(text(t, ctx, "#main")), " "), "Do you have chest pain or pressure in the chest? Yes")
	accessible(t, ctx, "what was answered")
	shot(t, ctx, "answers")

	do(t, ctx, chromedp.Navigate(a.DeskURL()), chromedp.Click(chromedp.CSS(`#main section details.acts summary`)),
		chromedp.SendKeys(chromedp.CSS(`#main section form input[name=text]`), "Sent to the emergency department"),
		chromedp.SendKeys(chromedp.CSS(`#main section form input[name=owner]`), "Dr Corvan Stillmarch"))
	shot(t, ctx, "morning-decides")
	click(t, ctx, `#main section form:has(input[name=text]) button`)
	require.NotContains(t, text(t, ctx, "#main"), "Call these people now")
}
