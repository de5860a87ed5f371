// Package timetable places the entries of a grading: who comes when, on which
// mat, with whom and before whom.
//
// # From a problem to a plan
//
// A [Problem] is what is asked, in the trade's words; [ReadProblem] and
// [WriteProblem] are its file. [Prepare] checks it and looks its names up. A [Plan]
// is an answer: a sitting or none for each entry, a panel for each open sitting.
//
// [Prepared.Cost] says exactly what a plan costs, aim by aim and cause by cause.
// [Verify] says which hard limits a plan breaks; it was written from
// docs/timetable.md and shares nothing with what makes plans. [Improve] searches
// for a cheap plan by taking plans apart and putting them back.
//
// # What people ask of a plan
//
// [Prepared.Effects] says what a move on the board would cost and what stands in
// its way; [Explain] why somebody waits and what would help; [Repair] makes a
// plan after something happened; [Prepared.Changes] lists what is different from
// the published one; [Prepared.WaitingList] orders those who wait.
//
// [Prepared.Squads] splits a sitting into squads, and [Rotate] takes them round the
// stations.
//
// # How it is done
//
// Everything here is in whole numbers and deterministic: a seed is handed in,
// work is limited by rounds and nodes, and a clock, if any, is the caller's.
package timetable
