// Package setup is the ground floor: what a set-up is made of. A set-up is
// data, read strictly from YAML: the mains side, the chair's chain of parts
// from its battery to the ventilator, the ventilator with its panel, how long
// the person can breathe unaided, and what the programme allows a caregiver.
//
// Here live the parts, their physical parameters in named units, the faults
// that can alter them, and the reading of files with errors that name file,
// line and what was expected. What follows from a set-up (volts, sources,
// lamps, pictures) must not live here.
//
// Words: a source is where the ventilator's power comes from now; a joint is
// a mated connector pair in a lead; a plug is the connector that goes into the
// ventilator's inlet; a tap is where the chain takes its power from the chair.
// All resistances are loop resistances: a lead's two conductors, a joint's or
// plug's two contacts together, so that the volts of a node are what a meter
// reads between the two conductors there.
package setup
