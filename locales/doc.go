// Package locales holds every word a person reads: the message files of each
// area and language, and the Speaker that says a message in a person's
// language with its values in place. What is missing is said in English and
// reported; nothing said is ever blank, and nothing here panics.
//
// Markup, pages, and any knowledge of what the messages are about must not
// live here.
package locales
