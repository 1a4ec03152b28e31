"""How a job stands, for the page that waits for it."""

from django.http import Http404
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.response import Response
from rest_framework.views import APIView

from . import policy
from .models import Job


class JobOut(serializers.ModelSerializer):
    fault = serializers.CharField(read_only=True)
    state = serializers.CharField(read_only=True)

    class Meta:
        model = Job
        fields = [
            "token",
            "state",
            "progress_done",
            "progress_total",
            "progress_note",
            "result",
            "fault",
        ]


class JobState(APIView):
    """Seen by who asked for the job, and by the keeper."""

    permission_classes = [IsAuthenticated]
    examples = {
        "GET": {
            "200": {
                "token": "2f9d7d1e-6f5b-4f4c-9d1d-0c1f6a0a7b55",
                "state": "running",
                "progress_done": 3,
                "progress_total": 12,
                "progress_note": "photographs",
                "result": None,
                "fault": "",
            }
        }
    }

    @extend_schema(responses=JobOut)
    def get(self, request, token):
        asked = get_object_or_404(Job, token=token)
        if asked.person_id != request.user.pk and not policy.can_keep(request.user):
            raise Http404
        return Response(JobOut(asked).data, headers={"Cache-Control": "no-store"})
