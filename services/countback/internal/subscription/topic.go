package subscription

import (
	"slices"

	"example.org/countback/services/countback/internal/event"
)

// topicBase is where our topics are defined.
const topicBase = "http://countback.example/fhir/SubscriptionTopic/"

// Topic is a kind of news that one can subscribe to.
type Topic struct {
	URL   string   // canonical
	Title string   // in a few words
	Names []string // of the events that it is made of
}

// topics is the table of topics.
var topics = []Topic{
	{topicBase + "plan-changed", "a case as a whole: opened, moved, held, released, ready, cancelled and so on", event.CaseNames()},
	{topicBase + "hold-changed", "a hold of a case: raised or released", []string{event.CaseHeld, event.CaseReleased}},
	{topicBase + "task-changed", "Tasks of a case: opened, changed, due, late, done and so on", event.TasksNames()},
}

// Topics are the topics, in the order in which they are told.
func Topics() []Topic { return slices.Clone(topics) }

// topicOf finds a topic by its canonical.
func topicOf(url string) (Topic, bool) {
	i := slices.IndexFunc(topics, func(t Topic) bool { return t.URL == url })
	if i < 0 {
		return Topic{}, false
	}
	return topics[i], true
}
