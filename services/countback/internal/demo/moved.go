package demo

import (
	"context"
	"fmt"
	"net/url"
	"strings"
)

// printMoved prints of each operation that was moved what changed and why, item
// by item, as the Provenance of the change tells it.
func (p *player) printMoved(ctx context.Context, cases []line) error {
	first := true
	for _, c := range cases {
		patient := strings.TrimPrefix(c.plan.node.String("subject", "reference"), "Patient/")
		told, err := p.search(ctx, "Provenance", url.Values{"patient": {patient}})
		if err != nil {
			return err
		}
		for _, t := range told {
			why := t.node.String("reason", "text")
			if !strings.HasPrefix(why, "surgery moved ") || !isOf(t, c) {
				continue
			}
			if first {
				fmt.Fprintf(p.Out, "\nMOVED\n")
				first = false
			}
			fmt.Fprintf(p.Out, "  %s: %s, as told on %s.\n", c.person, why, t.node.String("recorded")[:10])
			p.printChanges(t, c)
		}
	}
	return nil
}

func isOf(provenance resource, c line) bool {
	for _, t := range provenance.node.Get("target").Items() {
		if strings.HasPrefix(t.String("reference"), "CarePlan/"+c.plan.ID+"/") {
			return true
		}
	}
	return false
}

func (p *player) printChanges(provenance resource, c line) {
	title := map[string]string{}
	for _, t := range c.tasks {
		title["Task/"+t.ID] = t.node.String("code", "coding", "display")
	}
	n := 0
	for _, t := range provenance.node.Get("target").Items() {
		for _, e := range t.Get("extension").Items() {
			if e.String("url") != extensionBase+"change" {
				continue
			}
			task, _, _ := strings.Cut(t.String("reference"), "/_history/")
			fmt.Fprintf(p.Out, "    %s — %s\n", title[task], e.String("valueString"))
			n++
		}
	}
	fmt.Fprintf(p.Out, "    %d of %d items changed; the others stand as they stood.\n", n, len(c.tasks))
}
