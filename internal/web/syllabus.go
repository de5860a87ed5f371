package web

var syllabusRoutes = []Route{}
