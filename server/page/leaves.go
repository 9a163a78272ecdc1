package page

// FeedForm offers the reader a calendar feed of lapses.
type FeedForm struct {
	Action string // where a new one is made
	Scope  string // own or site
	Since  string // when theirs was made, "" where they have none
}

// FeedMade shows the address of a feed, once.
type FeedMade struct {
	Frame
	Link, Scope string
}
