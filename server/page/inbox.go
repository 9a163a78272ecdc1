package page

// Inbox is what was reported, open outages first.
type Inbox struct {
	Frame
	Open, Closed []Outage
	More         bool   // more were closed than are shown
	Forgets      string // when numbers to call back are deleted
}

// Outage is one row of the inbox.
type Outage struct {
	ID, Setup        string
	First, Last, Ago string
	Reports          int
	Ending, Language string
	Callback         string // "" for none
	Forgotten        bool   // whether there was a callback is not known any more
	Emergency        bool   // one of its reports was
	Likely           string // the likeliest cause, or why there is none; "" once closed
	Found            string // what it was found to be, "" while open
}

// Case is one outage at the desk: what was told, what follows, what was
// measured and found.
type Case struct {
	Frame
	ID, Setup, Found string
	Sent             []Sent
	Emergency        bool // one of the reports was
	Unread           bool // no story can be read by this program
	NothingSeen      bool // beyond the person: nothing is ranked
	Causes           []Chance
	Then             []Chance // the causes as ranked when the report was sent, where they differ
	ThenBy           string   // the versions that ranked them
	Spares           []Chance
	Nodes            []Node
	NodeNames        []Option // every place that can be measured
	Readings         []Reading
	Reading          Field
	ReadingNode      string
	ReadingKey       string
	Findings         []Found
	Groups           []OptionGroup // the set-up's faults, by part
	What             string        // chosen
	Note             Field
	FindingKey       string
	Seq              int // of the next finding
	Kept             string
}

// Sent is one report.
type Sent struct {
	At, Purpose, Care, Ending, Language string
	Times                               string // how often the same was sent, "" for once
	Emergency                           bool
	Callbacks                           []string
	Forgotten                           bool // whether there was a callback is not known any more
	Lines                               []Evidence
	Ranked                              bool // the causes go by this one
}

// Evidence is one thing seen or done, in words.
type Evidence struct {
	Text    string
	Differs bool // from what the likeliest cause would show
}

// Chance is something with its probability.
type Chance struct{ Text, Percent string }

// Node is a place to measure, and what to expect there.
type Node struct {
	Name     string
	Expected []Expected
}

// Expected is what a meter should read at a node, for some causes.
type Expected struct {
	Volts  string
	Causes []string
}

// Reading is one entered before. Old ones were measured again.
type Reading struct {
	Node, Volts, At, By string
	Old                 bool
}

// Found is one finding. Old ones were corrected.
type Found struct {
	Text, Note, At, By string
	Old                bool
}

// Option is a choice, and OptionGroup several about one part.
type Option struct{ Value, Text string }

// OptionGroup is the choices about one part.
type OptionGroup struct {
	Name    string
	Options []Option
}

// WhatCallersMiss is what outages were found to be, against how the reports
// of them ended.
type WhatCallersMiss struct {
	Frame
	Rows  []Missed
	Calls int // found, of any kind
}

// Missed is one thing that was found, and who got it wrong how often.
type Missed struct {
	What    string
	Count   int
	Slips   []string
	Lessons []Step
	Setups  []string // tags of those where it was got wrong
}
