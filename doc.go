// Package rankwright holds the words that a rank examination for children
// needs everywhere: identifiers, exact quantities, civil days and faults. The
// packages around it are the examination itself, one a step.
//
// # The story of one examination
//
//  1. The syllabus. The school writes in a text file what each rank must show
//     and by which rule that is enough. [rankwright/syllabus] reads it, names
//     every mistake by line and column, and compiles it into the form that all
//     later steps read. A grading runs under one published version, for ever.
//  2. The roster. The school's own spreadsheet, with its own headings and its
//     own order of dates, is compared with what is on record.
//     [rankwright/roster] says row by row what is new, changed, doubtful or
//     refused; nothing happens before somebody says yes.
//  3. Who may enter. [rankwright/ready] answers for each student and rank: yes,
//     or no with every condition that is not met and the first day on which
//     waiting alone makes it a yes.
//  4. The timetable. Who comes when, on which mat, before whom
//     ([rankwright/timetable]).
//  5. The marks. Examiners tap, offline or not, and take back by tapping again.
//     [rankwright/scoring] keeps every mark as a fact and folds any heap of
//     them, in any order and with any repetition, into one card an entry.
//  6. The outcome. [rankwright/decide] applies the rank's pass rule to the
//     card: promoted, held, not yet, absent, stopped or incomplete, with each
//     condition as asked, as shown, and met or not; and with what calls for a
//     second look by the head instructor, who signs.
//  7. Not yet. What to show again is part of the outcome. [rankwright/coach]
//     says how to practise at home until the day, in ten minutes a day, before
//     the first time as before the next: what fell short comes first, and falls
//     and partner work are left to class. The letter says so in the school's
//     own words, and what went well before it. (Small groups are to come.)
//  8. The promotion. [rankwright/promote] gives certificates their numbers and
//     wording, and the ceremony its order, and says which belts and shirts are
//     to be ordered. Each promotion becomes a line of the
//     rank ledger, from which next time's ranks are read: the circle closes in
//     the data, not in the code.
//  9. The analysis. Were the requirements good, and were we fair? (Packages
//     stat and analysis are to come.)
//
// # The map
//
// The ground floor, which is this folder and those named above, is pure: no
// clock, no chance, no files, no network, and no floating point where a mark
// becomes an outcome. A package imports only packages of earlier steps.
//
// The cellar is how a computer does it. Beside the roster, roster/table reads
// CSV and XLSX. Under internal: store keeps everything and is the only one
// that knows SQL; files reads and writes the tables that others script
// against; paper prints; app is the one gate through which people act, with
// permission and audit in one call; web shows it. The command rankwright puts
// them together.
//
// ARCHITECTURE.md has the table of who imports whom, which a test compares
// with the code. WORDS.md explains the words.
package rankwright
