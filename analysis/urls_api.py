"""API addresses of this room."""

urlpatterns = []
