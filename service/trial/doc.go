// Package trial holds the vocabulary and the rules of a fly trial: what a protocol, an enrolment, an outing, a unit,
// a period and a catch are, who may do what in which state, how the draw is derived, which fish is analysed and why
// another is not, and how the ledger is chained. It does no input or output, reads no clock and draws no random
// number: times and random bytes are arguments. It uses the standard library only.
//
// The ports that storage implements (Store, ReadTx, Tx) are declared here too, in store.go, beside the types they carry.
package trial
