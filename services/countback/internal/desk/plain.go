package desk

import (
	"regexp"
	"strings"
)

// nursesWords say what the FHIR API objects to as a person at the desk knows it:
// by what stands in the forms. The first that fits the beginning is taken.
var nursesWords = []struct{ begins, says string }{
	{"Task.status cannot go from ", "this cannot be recorded as the item stands now: look at it again"},
	{"Task.status failed: this step is asked until", "this is asked until somebody has done it: note that it was tried, and it stays asked"},
	{"Task.status cancelled: a report of a person", "a report is asked until somebody has answered it; one sent in error is withdrawn where it was made"},
	{"Task.statusReason is missing: a correction says why", "say why what was recorded is corrected"},
	{"Task.statusReason is missing: cancel with", "say why it is left out, or how you know that it does not apply"},
	{"Task.statusReason not-needed: that a medicine", "that a medicine has no last dose is a prescriber's to sign"},
	{"Task.statusReason not-needed is for", "this step does apply to this person; what does not apply is said only where it was to find out"},
	{"Task.executionPeriod.end cannot be taken away", "the day on which it was done cannot be taken away"},
	{"Task.executionPeriod.end must name", "the day it was done is no day of the calendar"},
	{"Task.executionPeriod.end lies in the future", "the day it was done lies in the future: what is done has a day that is past, or today"},
	{"Task.owner is missing, or names no person: a hold", "a hold is released by a named person: write who releases it"},
	{"Task.owner is missing", "this counts only with the professional who answers for it: write their name"},
	{"Task.output is missing: say when the person came", "say when the person came or went home, or that the operation did not take place"},
	{"Task.output says that the operation did not take place", "it says that the operation did not take place, and when the person came or went home beside it: say one of them"},
	{"Task.output went-home is missing", "that the person came is known: say when they went home, or leave this open"},
	{"Task.output went-home lies before arrived", "they would have gone home before they came: correct one of the two"},
	{"Task.output is missing: no last dose is advised", "the rules give no last dose for this medicine: choose a day, or that there is none"},
	{"Task.output names neither", "choose what the prescriber signed"},
	{"Task.output contradicts itself", "a last dose is named, and another choice too: choose one of them"},
	{"Task.output last-dose must name", "say on which day the last dose is"},
	{"Task.output: last-dose", "this step signs nothing: write the day on which it was done"},
	{"the Task has changed since", "somebody changed this item in the meantime: look at it again"},
	{"there is no such Task", "there is no such item"},
	{"there is no such CarePlan", "there is no such case"},
	{"there is no such QuestionnaireResponse", "there are no such answers"},
}

// elementWords are what is left of elements, in words.
var elementWords = strings.NewReplacer(
	"say in statusReason.text", "say", "(status requested, with statusReason.text)", "with “Ask again”, and a reason",
	"Task.output arrived (when the person came)", "the time given for when the person came", "Task.output went-home (when they went home)", "the time given for when they went home",
	", as valueDateTime or valueDate", "",
	"Task.output last-dose", "the last dose", "Task.executionPeriod.end", "the day it was done", "executionPeriod.end", "the day it was done",
	"Task.statusReason.text", "the reason", "statusReason.text", "the reason", "Task.statusReason", "the reason",
	"Task.output", "what was signed", "Task.owner", "who answers for it", "Task.status", "what is recorded", "Task.", "the item's ",
)

// elementName is the FHIR element at the beginning of an issue's text, where what
// follows says the whole.
var elementName = regexp.MustCompile(`^Task(\.\w+)+( is missing)?: `)

// plain says an issue to a person who knows no FHIR.
func plain(text string) string {
	for _, w := range nursesWords {
		if strings.HasPrefix(text, w.begins) {
			return sentence(w.says)
		}
	}
	return sentence(elementWords.Replace(elementName.ReplaceAllString(text, "")))
}
