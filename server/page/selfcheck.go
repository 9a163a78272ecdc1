package page

import "github.com/a-h/templ"

// CheckHead stands above every screen of a self-check.
type CheckHead struct {
	Setup, Purpose string
	Minutes        string // left on the internal battery, "" where it does not matter
	Still          bool   // the person is to be looked at again first
	Back           string // the screen before
}

// CheckAnswer is one answer: where it leads, and a picture of it.
type CheckAnswer struct {
	Link, Text string
	Figure     string // SVG, "" for none
	Bad        bool
}

// CheckStart asks whether the set-up is recognised, and what the check is for.
type CheckStart struct {
	Frame
	Setup, Panel string
	For          []CheckAnswer
}

// CheckAsk is one question of a self-check.
type CheckAsk struct {
	Frame
	Head    CheckHead
	Again   bool // it was asked before
	How     []string
	Answers []CheckAnswer
	More    string      // where the rarer answers are, "" for none
	Unclear CheckAnswer // no link where the question has no such answer
}

// pictured tells whether the answers are pictures side by side.
func (a CheckAsk) pictured() bool { return len(a.Answers) > 0 && a.Answers[0].Figure != "" }

// Hidden is a value that a form carries along.
type Hidden struct{ Name, Value string }

// CheckCare asks what is asked once.
type CheckCare struct {
	Frame
	Head   CheckHead
	Action string
	Hidden []Hidden
	Fields []CheckField
}

// CheckField is one of the things asked once, with what was filled in.
type CheckField struct {
	Name  string
	Of    []string // to choose from, none where something is written
	Value string
	Wrong string // message, "" for nothing
}

// described ties a field to what is said beside it.
func (f CheckField) described() templ.Attributes {
	out := templ.Attributes{}
	switch {
	case f.Of == nil && f.Wrong != "":
		out["aria-describedby"], out["aria-invalid"] = "wrong-"+f.Name+" "+f.Name+"-hint", "true"
	case f.Of == nil:
		out["aria-describedby"] = f.Name + "-hint"
	case f.Wrong != "": // a group of choices cannot be invalid itself
		out["aria-describedby"] = "wrong-" + f.Name
	}
	return out
}

// CheckDo is one thing to do.
type CheckDo struct {
	Frame
	Head         CheckHead
	Caution      string
	Alone        bool
	Done, Cannot string
}

// CheckSay is a part of what to say on a call.
type CheckSay struct {
	Title   string
	Lines   []string
	Ordered bool
}

// QR is a code as a path in a square of Size units.
type QR struct {
	Size int
	Path string
}

// CheckCall is someone to call.
type CheckCall struct {
	Line, Number, Hours string
	Rescue              bool // the emergency number
}

// CheckEnd is an ending.
type CheckEnd struct {
	Frame
	Head            CheckHead
	Good, Emergency bool
	Pressed         bool        // the calls come before all else
	Reason          string      // why it ends so, "" for nothing more to say
	Instead         CheckAnswer // what would let it go on, no link for nothing
	Tells           []string
	Calls           []CheckCall // in order
	SayTitle        string
	Say             []CheckSay
	QR              QR
	QRText          string
	Sent            bool
	Wrong           string // why it was not sent, "" for nothing
	Callback        string
	Action, Key     string // Action is "" for what cannot be sent
	Hidden          []Hidden
	Again           string
}
