package web

var rosterRoutes = []Route{}
