package oracle

// Answer to whether a step applies.
type Answer int

// The three answers.
const (
	No Answer = iota
	Unknown
	Yes
)

// The tables of the three-valued logic, from No over Unknown to Yes.
var (
	notTable = [3]Answer{Yes, Unknown, No}
	andTable = [3][3]Answer{{No, No, No}, {No, Unknown, Unknown}, {No, Unknown, Yes}}
	orTable  = [3][3]Answer{{No, Unknown, Yes}, {Unknown, Unknown, Yes}, {Yes, Yes, Yes}}
)

// Condition is a sentence about facts. Op is "fact" (a yes-or-no fact), "is"
// (a fact has the text Is), "at most" (a number is not above Limit), "not",
// "and", "or", or "always".
type Condition struct {
	Op    string
	Fact  string
	Is    string
	Limit float64
	Parts []Condition
}

// answer reads the facts; one that is not among them is unknown.
func (c Condition) answer(facts map[string]any) Answer {
	switch c.Op {
	case "always":
		return Yes
	case "not":
		return notTable[c.Parts[0].answer(facts)]
	case "and":
		return andTable[c.Parts[0].answer(facts)][c.Parts[1].answer(facts)]
	case "or":
		return orTable[c.Parts[0].answer(facts)][c.Parts[1].answer(facts)]
	}
	value, known := facts[c.Fact]
	if !known {
		return Unknown
	}
	holds := false
	switch c.Op {
	case "fact":
		holds = value == true
	case "is":
		holds = value == c.Is
	case "at most":
		holds = value.(float64) <= c.Limit
	}
	if holds {
		return Yes
	}
	return No
}
