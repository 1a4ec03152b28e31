"""Who is signed in, and a token to send with."""

from django.middleware.csrf import get_token
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.response import Response
from rest_framework.views import APIView


class SessionOut(serializers.Serializer):
    user_id = serializers.IntegerField(allow_null=True)
    username = serializers.CharField(allow_blank=True)
    credit = serializers.CharField(allow_blank=True)
    groups = serializers.ListField(child=serializers.CharField())
    csrf_token = serializers.CharField()


class Session(APIView):
    """A phone asks for this just before it sends; never kept by any cache."""

    permission_classes = [AllowAny]
    examples = {
        "GET": {
            "200": {
                "user_id": 1,
                "username": "volunteer",
                "credit": "Ida Penhallow",
                "groups": ["volunteer"],
                "csrf_token": "PlyBRuvm3S4lLSDf2MJ190zxT0mvDDZE",
            }
        }
    }

    @extend_schema(responses=SessionOut)
    def get(self, request):
        person = request.user
        signed_in = person.is_authenticated
        facts = {
            "user_id": person.pk if signed_in else None,
            "username": person.username if signed_in else "",
            "credit": person.credit if signed_in else "",
            "groups": sorted(person.group_names) if signed_in else [],
            "csrf_token": get_token(request),
        }
        return Response(SessionOut(facts).data, headers={"Cache-Control": "no-store"})
