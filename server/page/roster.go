package page

// Import asks for a list of people.
type Import struct {
	Frame
	Wrong   []string // with the last one, a problem each
	Columns []string
	Site    string   // the code of this site
	Values  []string // a column each, with what may stand in it
	Text    string   // as it was typed
}

// Previewed is what a list would do, or that it is done.
type Previewed struct {
	Frame
	ID                                     string
	Done                                   bool
	Added, Changed, Deactivated, Unchanged int
	Rows                                   []Planned
	Refused                                []string // rows left out, and why
}

// Planned is what a list would do to one person.
type Planned struct {
	Kind, Name, Number, Role, SignsInAs, Team string
	Fields                                    []Difference
}

// Erasing asks whether a person is really to be erased.
type Erasing struct {
	Frame
	ID, Person string
	Teaches    bool // they may have signed for others
	Typed      string
	Wrong      string
}
