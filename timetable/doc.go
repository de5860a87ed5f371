// Package timetable places the entries of a grading: who comes when, on which
// mat, with whom and before whom.
//
// A Problem is what is asked, in the trade's words; Prepare checks it and looks
// its names up; a Plan is an answer. Prepared.Cost says exactly what a plan
// costs, aim by aim, and Verify, which shares nothing with it but the problem,
// says which hard limits a plan breaks. docs/timetable.md is the manual from
// which Verify was written.
package timetable
