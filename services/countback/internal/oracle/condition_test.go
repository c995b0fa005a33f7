package oracle

import "strings"

// parseCondition reads the few forms of conditions that protocols use: names,
// == with a text, <= with a number, !, &&, || and brackets.
func parseCondition(text string) Condition {
	r := &reader{words: wordsOfCondition(text)}
	c := r.or()
	if r.next() != "" {
		panic("condition not understood: " + text)
	}
	return c
}

func wordsOfCondition(text string) []string {
	for _, sign := range []string{"(", ")", "&&", "||", "==", "<=", "!"} {
		text = strings.ReplaceAll(text, sign, " "+sign+" ")
	}
	return strings.Fields(text)
}

type reader struct{ words []string }

func (r *reader) next() string {
	if len(r.words) == 0 {
		return ""
	}
	return r.words[0]
}

func (r *reader) take() string {
	word := r.next()
	r.words = r.words[1:]
	return word
}

func (r *reader) or() Condition {
	c := r.and()
	for r.next() == "||" {
		r.take()
		c = Condition{Op: "or", Parts: []Condition{c, r.and()}}
	}
	return c
}

func (r *reader) and() Condition {
	c := r.not()
	for r.next() == "&&" {
		r.take()
		c = Condition{Op: "and", Parts: []Condition{c, r.not()}}
	}
	return c
}

func (r *reader) not() Condition {
	switch r.next() {
	case "!":
		r.take()
		return Condition{Op: "not", Parts: []Condition{r.not()}}
	case "(":
		r.take()
		c := r.or()
		r.take()
		return c
	}
	c := Condition{Op: "fact", Fact: r.take()}
	switch r.next() {
	case "==":
		r.take()
		c.Op, c.Is = "is", strings.Trim(r.take(), `'"`)
	case "<=":
		r.take()
		c.Op, c.Limit = "at most", number(r.take())
	}
	return c
}
