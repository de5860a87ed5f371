// Package ready answers who may enter for a rank: yes, or no with every
// condition that is not met, by how much, and the first day on which waiting
// alone makes it a yes.
//
// Admit is a pure function of a Question. Each condition of the syllabus is
// turned into the set of days on which it holds if nothing else changes; all
// of several is the intersection of their sets, any of several the union. The
// answer on a day, the first day and the last day are then read off one set,
// so they cannot contradict each other.
package ready
