package web

var gradingRoutes = []Route{}
