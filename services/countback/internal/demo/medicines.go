package demo

import (
	"fmt"
	"slices"
	"strings"
)

// printMedicines tells what the rules say on each medicine that needs a date or
// a decision, and what people are asked because of something that happened.
func (p *player) printMedicines(cases []line) {
	fmt.Fprintf(p.Out, "\nMEDICINES, AND WHAT IS ASKED\n")
	for _, c := range cases {
		var told []string
		for _, t := range c.tasks {
			for _, e := range t.node.Get("extension").Items() {
				if e.String("url") != extensionBase+"medicine-advice" && e.String("url") != extensionBase+"why" {
					continue
				}
				says := e.String("valueString")
				if e.String("url") == extensionBase+"why" {
					says = t.node.String("code", "coding", "display") + " (" + businessStatus(t) + "): " + withoutRecord(says)
				}
				if !strings.HasPrefix(says, "Source") && !slices.Contains(told, says) {
					told = append(told, says)
				}
			}
		}
		if len(told) > 0 {
			fmt.Fprintf(p.Out, "  %s\n    %s\n", c.person, strings.Join(told, "\n    "))
		}
	}
}

// withoutRecord leaves out the name of a record, which differs from run to run.
func withoutRecord(s string) string {
	before, rest, found := strings.Cut(s, ": QuestionnaireResponse/")
	if !found {
		return s
	}
	_, after, _ := strings.Cut(rest, ". ")
	return before + ". " + after
}
